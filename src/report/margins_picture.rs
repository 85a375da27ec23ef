//! A sweep as a picture: the chance and every margin along the value, the region that passes shaded;
//! along two values, a map of the chance.

use crate::study::CriterionKind;
use crate::study::margins::{Edge, MarginPoint, Stretch, Sweep};
use crate::units::format_percent;

use super::figure::{Band, Curve, Figure, Level, Mark, Panel, wrapped};
use super::margins::{MarginsReport, SweptValue, headlines, short};
use super::margins_text::by_closeness;
use super::sheet::{Block, Border, Cell, CellMap, Sheet};

/// Margins beyond these shares of the limit are drawn at them: what counts is where they cross zero.
const HIGHEST: f64 = 4.0;
const LOWEST: f64 = -1.5;
/// Criteria that come this close to their limit have a panel of their own, at least one of them and
/// at most so many; the others share one.
const NEAR: f64 = 0.5;
const PANELS: usize = 4;

/// The page.
#[must_use]
pub fn margins(report: MarginsReport<'_>) -> Sheet {
    let block = match report.second {
        Some((second, sweeps)) => Block::Map(map(&report, second, sweeps)),
        None => Block::Figure(along(&report)),
    };
    Sheet {
        title: match report.second {
            None => format!("{}: margins along {}", report.name, report.over.path),
            Some((second, _)) => format!(
                "{}: chance along {} and {}",
                report.name, report.over.path, second.path
            ),
        },
        subtitle: match report.second {
            None => headlines(&report).iter().flat_map(|l| wrapped(l)).collect(),
            Some(_) => vec![format!("at most {} trials at each point", report.trials)],
        },
        blocks: vec![block],
    }
}

fn along(report: &MarginsReport<'_>) -> Figure {
    let sweep = report.sweep;
    let over = report.over;
    let (low, high) = (over.low, over.high);
    let passing = sweep.passing();
    let mut panels = vec![chance_panel(report, &passing, (low, high))];
    let kinds = by_closeness(sweep);
    let near = kinds.iter().filter(|(_, least)| *least < NEAR).count();
    let (own, others) = kinds.split_at(near.clamp(1, PANELS).min(kinds.len()));
    for (kind, _) in own {
        panels.push(margin_panel(report, kind, &passing));
    }
    if !others.is_empty() {
        panels.push(other_margins(report, others, &passing));
    }
    Figure {
        title: String::new(),
        subtitle: Vec::new(),
        x_label: over.axis(),
        x_range: (low, high),
        panels,
        marks: marks(report),
    }
}

fn clip(margin: f64) -> f64 {
    100.0 * margin.clamp(LOWEST, HIGHEST)
}

/// Margins of one criterion with central values [% of the limit].
fn nominal_margins(sweep: &Sweep, kind: &CriterionKind) -> Vec<(f64, f64)> {
    let of = |point: &crate::study::margins::SweepPoint| {
        let margin = point.margins.iter().find(|margin| margin.kind == *kind)?;
        Some((point.value, clip(margin.nominal?)))
    };
    sweep.computed().into_iter().filter_map(of).collect()
}

/// Lines where margins are cut, if some are: they go on beyond.
fn cuts(sweep: &Sweep, kinds: &[&CriterionKind]) -> Vec<Level> {
    let drawn = |margin: &&MarginPoint| kinds.contains(&&margin.kind);
    let points = sweep.computed();
    let margins = points.iter().flat_map(|p| &p.margins).filter(drawn);
    let values: Vec<f64> = margins
        .flat_map(|margin| {
            margin
                .nominal
                .into_iter()
                .chain(margin.band.iter().flatten().copied())
        })
        .collect();
    let cut = |at: f64| Level {
        label: format!("cut off at {:+.0} %", 100.0 * at),
        value: 100.0 * at,
    };
    let above = values.iter().any(|value| *value > HIGHEST);
    let below = values.iter().any(|value| *value < LOWEST);
    let highest = above.then(|| cut(HIGHEST));
    highest
        .into_iter()
        .chain(below.then(|| cut(LOWEST)))
        .collect()
}

/// Ends of an axis around some margins and the limit.
fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values.fold((0.0_f64, 0.0_f64), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let step = 25.0;
    let below = if low < 0.0 {
        (low / step).floor() * step
    } else {
        0.0
    };
    (below, (high / step).ceil().max(1.0) * step)
}

fn levels(sweep: &Sweep, kinds: &[&CriterionKind]) -> Vec<Level> {
    let limit = Level {
        label: "limit".to_owned(),
        value: 0.0,
    };
    [limit].into_iter().chain(cuts(sweep, kinds)).collect()
}

/// The margin of one criterion with its band.
fn margin_panel(report: &MarginsReport<'_>, kind: &CriterionKind, passing: &[Stretch]) -> Panel {
    let sweep = report.sweep;
    let nominal = nominal_margins(sweep, kind);
    let band: Vec<(f64, f64, f64)> = sweep
        .computed()
        .into_iter()
        .filter_map(|point| {
            let margin = point.margins.iter().find(|margin| margin.kind == *kind)?;
            let [low, _, high] = margin.band?;
            Some((point.value, clip(low), clip(high)))
        })
        .collect();
    let reach = band.iter().flat_map(|(_, low, high)| [*low, *high]);
    let ends = ends(reach.chain(nominal.iter().map(|(_, y)| *y)));
    let range = (report.over.low, report.over.high);
    let mut bands = shade(passing, range, "");
    bands.push(Band {
        label: "5 to 95 % of trials".to_owned(),
        points: band,
        style: 0,
    });
    Panel {
        label: "margin [% of limit]".to_owned(),
        bands,
        curves: vec![Curve {
            label: short(kind),
            points: nominal,
            style: 0,
        }],
        levels: levels(sweep, &[kind]),
        ends: Some(ends),
        height: 130.0,
        ..Panel::default()
    }
}

/// Criteria that stay far from their limits: one curve each.
fn other_margins(
    report: &MarginsReport<'_>,
    others: &[(CriterionKind, f64)],
    passing: &[Stretch],
) -> Panel {
    let curves: Vec<Curve> = others
        .iter()
        .enumerate()
        .map(|(place, (kind, _))| Curve {
            label: short(kind),
            points: nominal_margins(report.sweep, kind),
            style: place + 1,
        })
        .collect();
    let ends = ends(curves.iter().flat_map(|c| &c.points).map(|(_, y)| *y));
    let range = (report.over.low, report.over.high);
    Panel {
        label: "margin [% of limit]".to_owned(),
        bands: shade(passing, range, ""),
        curves,
        levels: levels(
            report.sweep,
            &others.iter().map(|(kind, _)| kind).collect::<Vec<_>>(),
        ),
        ends: Some(ends),
        height: 150.0,
        ..Panel::default()
    }
}

fn chance_panel(report: &MarginsReport<'_>, passing: &[Stretch], range: (f64, f64)) -> Panel {
    let points = report.sweep.computed();
    let chances = || {
        let with_chance = points.iter();
        with_chance.filter_map(|point| Some((point.value, point.chance?)))
    };
    // Where the chance is high throughout, look closer.
    let least = chances().map(|(_, c)| c.low).fold(1.0, f64::min);
    let bottom = if least >= 0.5 {
        10.0 * (10.0 * least.min(report.level)).floor()
    } else {
        0.0
    };
    let bottom = bottom.min(90.0);
    let mut bands = shade(passing, range, "passes (central)");
    bands.push(Band {
        label: "95 % interval".to_owned(),
        points: chances()
            .map(|(x, chance)| (x, 100.0 * chance.low, 100.0 * chance.high))
            .collect(),
        style: 0,
    });
    Panel {
        label: "chance [%]".to_owned(),
        bands,
        curves: vec![Curve {
            label: "chance".to_owned(),
            points: chances()
                .map(|(x, chance)| (x, 100.0 * chance.estimate))
                .collect(),
            style: 0,
        }],
        levels: vec![Level {
            label: format!("wanted {}", format_percent(report.level)),
            value: 100.0 * report.level,
        }],
        ends: Some((bottom, 100.0)),
        height: 170.0,
        ..Panel::default()
    }
}

/// The stretches that pass, as regions of full height.
fn shade(passing: &[Stretch], (low, high): (f64, f64), label: &str) -> Vec<Band> {
    passing
        .iter()
        .enumerate()
        .map(|(number, stretch)| {
            let from = stretch.from.map_or(low, |edge| edge.inside);
            let to = stretch.to.map_or(high, |edge| edge.inside);
            Band {
                label: if number == 0 {
                    label.to_owned()
                } else {
                    String::new()
                },
                points: [from, to]
                    .map(|x| (x, f64::NEG_INFINITY, f64::INFINITY))
                    .to_vec(),
                style: 2,
            }
        })
        .collect()
}

fn marks(report: &MarginsReport<'_>) -> Vec<Mark> {
    let over = report.over;
    let nominal = report.sweep.nominal_edges.iter().map(|found| Mark {
        at: found.edge.inside,
        label: format!("{}: last that passes", over.show_inside(&found.edge)),
    });
    let chance = report.sweep.chance_edges.iter().map(|found| Mark {
        at: found.edge.inside,
        label: format!(
            "{}: chance {}",
            over.show_inside(&found.edge),
            format_percent(report.level)
        ),
    });
    let own = over.own_inside().map(|own| Mark {
        at: own,
        label: format!("{}: the design as it is", over.show(own)),
    });
    nominal.chain(chance).chain(own).collect()
}

fn map(report: &MarginsReport<'_>, second: &SweptValue, sweeps: &[(f64, Sweep)]) -> CellMap {
    let cells = sweeps
        .iter()
        .flat_map(|(y, sweep)| {
            sweep.points.iter().map(move |point| Cell {
                x: point.value,
                y: *y,
                share: point.chance.map(|chance| chance.estimate),
                crossed: !point.passes(),
            })
        })
        .collect();
    CellMap {
        x_label: report.over.axis(),
        y_label: second.axis(),
        legend: "chance of success".to_owned(),
        crossed: "fails (central values)".to_owned(),
        cells,
        borders: vec![
            Border {
                label: "last that passes".to_owned(),
                lines: border(sweeps, |sweep| {
                    sweep.nominal_edges.iter().map(|found| found.edge).collect()
                }),
                style: 1,
            },
            Border {
                label: format!("chance {}", format_percent(report.level)),
                lines: border(sweeps, |sweep| {
                    sweep.chance_edges.iter().map(|found| found.edge).collect()
                }),
                style: 2,
            },
        ],
    }
}

/// Lines through the edges of neighbouring sweeps: the first that ends a stretch with the first that
/// does so beside it, and so on.
fn border(sweeps: &[(f64, Sweep)], edges: impl Fn(&Sweep) -> Vec<Edge>) -> Vec<Vec<(f64, f64)>> {
    let mut lines: Vec<Vec<(f64, f64)>> = Vec::new();
    for ends in [true, false] {
        let mut rank = 0;
        loop {
            let mut found = false;
            let mut current: Vec<(f64, f64)> = Vec::new();
            for (y, sweep) in sweeps {
                let edge = edges(sweep)
                    .into_iter()
                    .filter(|edge| edge.holds_below() == ends)
                    .nth(rank);
                match edge {
                    Some(edge) => {
                        found = true;
                        current.push((edge.inside, *y));
                    }
                    None => lines.push(std::mem::take(&mut current)),
                }
            }
            lines.push(current);
            if !found {
                break;
            }
            rank += 1;
        }
    }
    lines.retain(|line| !line.is_empty());
    lines
}
