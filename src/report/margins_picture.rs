//! A sweep as a picture: the chance and every margin along the value, the region that passes shaded;
//! along two values, a map of the chance.

use crate::study::margins::{Stretch, Sweep};
use crate::units::format_percent;

use super::figure::{Band, Curve, Figure, Level, Mark, Panel};
use super::margins::{MarginsReport, SweptValue, headline, short};
use super::sheet::{Block, Cell, CellMap, Sheet};

/// Margins above this share of the limit are drawn at it: what counts is where they cross zero.
const HIGHEST: f64 = 2.0;
const LOWEST: f64 = -1.5;

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
            None => headline(&report).split("; ").map(str::to_owned).collect(),
            Some(_) => vec![format!("{} trials at each of the points", report.trials)],
        },
        blocks: vec![block],
    }
}

fn along(report: &MarginsReport<'_>) -> Figure {
    let sweep = report.sweep;
    let over = report.over;
    let (low, high) = (over.low.min(over.high), over.low.max(over.high));
    let passing = sweep.passing();
    let mut panels = vec![chance_panel(report, &passing, (low, high))];
    let kinds = sweep
        .points
        .iter()
        .find(|point| !point.margins.is_empty())
        .map(|point| point.margins.iter().map(|m| m.kind.clone()))
        .into_iter()
        .flatten();
    for (place, kind) in kinds.enumerate() {
        let clip = |margin: f64| 100.0 * margin.clamp(LOWEST, HIGHEST);
        let margins = || {
            sweep
                .points
                .iter()
                .filter_map(move |point| Some((point.value, point.margins.get(place)?)))
        };
        let band: Vec<(f64, f64, f64)> = margins()
            .filter_map(|(x, margin)| {
                let [low, _, high] = margin.band?;
                Some((x, clip(low), clip(high)))
            })
            .collect();
        let nominal: Vec<(f64, f64)> = margins()
            .filter_map(|(x, margin)| Some((x, clip(margin.nominal?))))
            .collect();
        let least = band.iter().map(|b| b.1).fold(0.0, f64::min);
        let most = band.iter().map(|b| b.2).fold(0.0, f64::max);
        let mut bands = shade(&passing, (low, high), (least, most), "");
        bands.push(Band {
            label: "5 to 95 %".to_owned(),
            points: band,
            style: 0,
        });
        panels.push(Panel {
            label: "margin [%]".to_owned(),
            bands,
            curves: vec![Curve {
                label: short(&kind),
                points: nominal,
                style: 0,
            }],
            levels: vec![Level {
                label: "limit".to_owned(),
                value: 0.0,
            }],
            height: 105.0,
            ..Panel::default()
        });
    }
    Figure {
        title: String::new(),
        subtitle: vec!["shaded: passes with central values".to_owned()],
        x_label: over.axis(),
        x_range: (low, high),
        panels,
        marks: marks(report),
    }
}

fn chance_panel(report: &MarginsReport<'_>, passing: &[Stretch], range: (f64, f64)) -> Panel {
    let chances = || {
        report
            .sweep
            .points
            .iter()
            .filter_map(|point| Some((point.value, point.chance?)))
    };
    // Where the chance is high throughout, look closer.
    let least = chances().map(|(_, c)| c.low).fold(1.0, f64::min);
    let bottom = if least >= 0.5 {
        10.0 * (10.0 * least.min(report.level)).floor()
    } else {
        0.0
    };
    let bottom = bottom.min(90.0);
    let mut bands = shade(passing, range, (bottom, 100.0), "passes");
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
            label: format_percent(report.level),
            value: 100.0 * report.level,
        }],
        ends: Some((bottom, 100.0)),
        height: 170.0,
        ..Panel::default()
    }
}

/// The stretches that pass, as regions of full height.
fn shade(
    passing: &[Stretch],
    (low, high): (f64, f64),
    (bottom, top): (f64, f64),
    label: &str,
) -> Vec<Band> {
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
                points: vec![(from, bottom, top), (to, bottom, top)],
                style: 2,
            }
        })
        .collect()
}

fn marks(report: &MarginsReport<'_>) -> Vec<Mark> {
    let over = report.over;
    let nominal = report.sweep.nominal_edges.iter().map(|found| Mark {
        at: found.edge.inside,
        label: format!("{}: last that passes", over.show(found.edge.inside)),
    });
    let chance = report.sweep.chance_edges.iter().map(|found| Mark {
        at: found.edge.outside,
        label: format!(
            "{}: chance under {}",
            over.show(found.edge.outside),
            format_percent(report.level)
        ),
    });
    nominal.chain(chance).collect()
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
        crossed: "fails with central values".to_owned(),
        cells,
    }
}
