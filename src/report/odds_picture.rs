//! The odds as a picture: the band of pressure curves, the outcomes, the drivers, the histograms.

use crate::statistics::histogram::Histogram;
use crate::study::Quantity;
use crate::study::band::PressureBand;
use crate::study::odds::QuantitySummary;
use crate::units::{Dimension, UnitSystem, axis_unit};

use super::figure::{Band, Curve, Figure, Panel, wrapped};
use super::odds::{OddsReport, basis, chance_sentence};
use super::odds_text::ranked;
use super::shares::{Share, more_rows};
use super::sheet::{Bar, Bars, Block, Sheet};

/// Quantities shown as histograms.
const HISTOGRAMS: [Quantity; 4] = [
    Quantity::ExitSpeed,
    Quantity::ClearTime,
    Quantity::PeakBayPressure,
    Quantity::PeakTetherLoad,
];
/// Inputs shown among the drivers.
const MOST_DRIVERS: usize = 10;

/// The page.
#[must_use]
pub fn odds(report: OddsReport<'_>, units: UnitSystem) -> Sheet {
    let mut blocks = Vec::new();
    if let Some(band) = report.band {
        blocks.push(Block::Figure(pressures(band, units)));
    }
    blocks.push(Block::Bars(outcomes(&report)));
    if let Some(bars) = drivers(&report) {
        blocks.push(Block::Bars(bars));
    }
    blocks.extend(
        report
            .odds
            .quantities
            .iter()
            .filter(|summary| HISTOGRAMS.contains(&summary.quantity))
            .map(|summary| Block::Figure(histogram(summary, units))),
    );
    let chance = &report.odds.chance;
    Sheet {
        title: format!("{}: chance of a successful separation", report.name),
        subtitle: [
            chance_sentence(report.odds),
            basis(chance, report.method, report.replicates),
        ]
        .iter()
        .flat_map(|sentence| wrapped(sentence))
        .collect(),
        blocks,
    }
}

fn pressures(band: &PressureBand, units: UnitSystem) -> Figure {
    let end = band.times.last().copied().unwrap_or(1.0);
    let top = band.pressures.iter().map(|row| row[2]).fold(0.0, f64::max);
    let seconds = axis_unit(Dimension::Time, end, units);
    let pressure = axis_unit(Dimension::AbsolutePressure, top, units);
    let rows = || band.times.iter().zip(&band.pressures);
    let points = rows()
        .map(|(time, [low, _, high])| {
            (
                seconds.from_si(*time),
                pressure.from_si(*low),
                pressure.from_si(*high),
            )
        })
        .collect();
    let median = rows()
        .map(|(time, [_, median, _])| (seconds.from_si(*time), pressure.from_si(*median)))
        .collect();
    Figure {
        title: "Pressure under the nose".to_owned(),
        subtitle: vec![format!("first {} trials", band.trials)],
        x_label: format!("time after the start [{}]", seconds.symbol),
        x_range: (0.0, seconds.from_si(end)),
        panels: vec![Panel {
            label: format!("pressure [{}]", pressure.symbol),
            bands: vec![Band {
                label: "5 to 95 %".to_owned(),
                points,
                style: 0,
            }],
            curves: vec![Curve {
                label: "median".to_owned(),
                points: median,
                style: 0,
            }],
            from_zero: true,
            height: 180.0,
            ..Panel::default()
        }],
        marks: Vec::new(),
    }
}

fn outcomes(report: &OddsReport<'_>) -> Bars {
    let odds = report.odds;
    let counts = odds.counts;
    let share = |count: u64| 100.0 * count as f64 / counts.trials.max(1) as f64;
    let mut bars = vec![Bar {
        label: "success".to_owned(),
        value: share(counts.successes),
        interval: Some((100.0 * odds.chance.low, 100.0 * odds.chance.high)),
        inner: None,
        note: format!("{} trials", counts.successes),
        style: 2,
    }];
    bars.extend(odds.failures.iter().map(|failure| {
        let first = failure.first_chance;
        Bar {
            label: failure.kind.failure(),
            value: share(failure.first),
            interval: Some((100.0 * first.low, 100.0 * first.high)),
            inner: None,
            note: format!("{} trials", failure.first),
            style: 1,
        }
    }));
    if counts.not_computed > 0 {
        bars.push(Bar {
            label: "could not be computed".to_owned(),
            value: share(counts.not_computed),
            interval: None,
            inner: None,
            note: format!("{} trials", counts.not_computed),
            style: 4,
        });
    }
    Bars {
        title: "Outcome, by the first criterion that fails".to_owned(),
        subtitle: vec!["whiskers: 95 % intervals".to_owned()],
        label: "share of trials [%]".to_owned(),
        most: Some(100.0),
        bars,
    }
}

fn drivers(report: &OddsReport<'_>) -> Option<Bars> {
    let (what, found) = report.drivers?.leading();
    let percent = |share: f64| 100.0 * share;
    let bars: Vec<Bar> = ranked(found)
        .into_iter()
        .take(MOST_DRIVERS)
        .filter_map(|input| {
            let indices = found.inputs.get(input)?;
            let (total, first) = (Share::of(&indices.total), Share::of(&indices.first));
            let (low, high) = total.interval;
            Some(Bar {
                label: report.inputs.get(input)?.path.clone(),
                value: total.estimate.map_or(0.0, percent),
                interval: Some((percent(low), percent(high))),
                inner: first.estimate.map(percent),
                note: total.alone(),
                style: 0,
            })
        })
        .collect();
    let mut subtitle = vec![
        "light: share of the variance with all interactions (whiskers: 95 %); dark: alone"
            .to_owned(),
    ];
    if let Some(more) = more_rows(found) {
        subtitle.push(format!(
            "no bar: an estimate lost in its noise; {} rows are few, try --drivers {more}",
            found.rows
        ));
    }
    Some(Bars {
        title: format!("What drives the {what}"),
        subtitle,
        label: "share of the variance [%]".to_owned(),
        most: Some(100.0),
        bars,
    })
}

fn histogram(summary: &QuantitySummary, units: UnitSystem) -> Figure {
    let dimension = summary.quantity.dimension();
    let edges = summary.histogram.edges();
    let top = edges.iter().map(|edge| edge.abs()).fold(0.0, f64::max);
    let unit = axis_unit(dimension, top, units);
    let shown: Vec<f64> = edges.iter().map(|edge| unit.from_si(*edge)).collect();
    let (low, high) = (
        shown.first().copied().unwrap_or(0.0),
        shown.last().copied().unwrap_or(1.0),
    );
    Figure {
        title: capital(summary.quantity.label()),
        subtitle: vec![format!("in {} trials", summary.count)],
        x_label: format!("{} [{}]", summary.quantity.label(), unit.symbol),
        x_range: (low, high),
        panels: vec![Panel {
            label: "trials".to_owned(),
            bands: vec![Band {
                label: String::new(),
                points: steps(&shown, &summary.histogram),
                style: 0,
            }],
            from_zero: true,
            height: 110.0,
            ..Panel::default()
        }],
        marks: Vec::new(),
    }
}

/// The outline of the bins, as a region above zero.
fn steps(edges: &[f64], histogram: &Histogram) -> Vec<(f64, f64, f64)> {
    let counts = histogram.counts().iter();
    edges
        .windows(2)
        .zip(counts)
        .flat_map(|(pair, count)| {
            let height = *count as f64;
            pair.iter().map(move |edge| (*edge, 0.0, height))
        })
        .collect()
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
