//! From up to millions of samples to a few hundred points that keep the shape.
//!
//! Samples are averaged in blocks whose length follows the signal: short where it moves or peaks,
//! long where it rests. Each point carries the noise of its mean. Isolated spikes and dropouts are
//! left out and stated; a sensor at its end stop is marked, not believed.

use crate::study::diagnosis::measured::MISSING;
use crate::study::diagnosis::{Channel, Observable};

use super::read::{Column, Quantity};

/// Share of the points that follows time rather than the signal.
const TIME_SHARE: f64 = 0.35;
/// Share of the points spent on the surroundings of the peak.
const PEAK_SHARE: f64 = 0.06;
/// Cells in which activity is measured.
const CELLS: usize = 2000;
/// Cells on either side whose means are compared for it, and deviations of their noise that make no motion.
const REACHES: [usize; 3] = [1, 4, 16];
const BEYOND: f64 = 4.0;
/// Deviation of a spike from its neighbours, in standard deviations of the noise.
const SPIKE: f64 = 8.0;
/// One sample in so many may be left out, in spikes and dropouts together.
const MOST_LOST: usize = 20;
/// Consecutive equal samples at the top that make an end stop.
const END_STOP: usize = 6;

/// Reduces a column to about `points` points between two times [s].
///
/// Returns `None` where fewer than four samples lie between them, and what was left out in words.
#[must_use]
pub fn reduce(
    column: &Column,
    (from, to): (f64, f64),
    points: usize,
) -> (Option<Channel>, Vec<String>) {
    let mut notes = Vec::new();
    let start = column.times.partition_point(|t| *t < from);
    let end = column.times.partition_point(|t| *t <= to);
    let times = column.times.get(start..end).unwrap_or(&[]);
    let values = column.values.get(start..end).unwrap_or(&[]);
    if times.len() < 4 {
        return (None, notes);
    }
    let interval = typical_interval(times);
    let label = column.heading.clone();
    if column.quantity == Quantity::BreakWire {
        return (Some(release(times, values, interval, label)), notes);
    }
    let noise = noise_level(values);
    let Sound { kept, dropouts } = without_spikes(values, noise);
    for run in &dropouts {
        let level = values.get(run.start).copied().unwrap_or(0.0);
        let level = match column.quantity {
            Quantity::Pressure { .. } => format!("{:.3} bar", level / 1e5),
            Quantity::Travel | Quantity::BreakWire => format!("{:.1} mm", level * 1e3),
        };
        notes.push(format!(
            "{} samples of `{label}` from {:.4} s to {:.4} s left out: they rest at {level} and come back at once, as \
             where a sensor loses contact",
            run.len(),
            times.get(run.start).copied().unwrap_or(0.0),
            times.get(run.end - 1).copied().unwrap_or(0.0),
        ));
    }
    let dropped: usize = dropouts.iter().map(ExactSizeIterator::len).sum();
    let lost = values.len() - kept.len() - dropped;
    if lost > 0 {
        notes.push(format!(
            "{lost} sample(s) of `{label}` left out as spikes or dropouts"
        ));
    }
    let pick = |source: &[f64]| -> Vec<f64> {
        kept.iter()
            .filter_map(|i| source.get(*i))
            .copied()
            .collect()
    };
    let (times, values) = (pick(times), pick(values));
    let stop = end_stop(&values, noise);
    if let Some(level) = stop {
        notes.push(format!(
            "`{label}` stays at its largest value {level:.4e}: taken as the end stop of the sensor, \
             the true value may be larger there"
        ));
    }
    let mut bounds = blocks(&times, &values, noise, points);
    // A model is looked at evenly over the samples of a block: none may reach over missing ones.
    let step = |at: usize| Some(times.get(at)? - times.get(at.checked_sub(1)?)?);
    let missing = |at: &usize| {
        // Where a logger goes on more slowly, the steps on both sides are as long.
        let beside = [step(at - 1), step(at + 1)].into_iter().flatten();
        let usual = beside.fold(f64::INFINITY, f64::min).max(interval);
        step(*at).is_some_and(|step| step > MISSING * usual)
    };
    bounds.extend((1..times.len()).filter(missing));
    bounds.sort_unstable();
    bounds.dedup();
    let mut channel = Channel {
        observable: match column.quantity {
            Quantity::Pressure { vessel, gauge } => Observable::Pressure { vessel, gauge },
            Quantity::Travel | Quantity::BreakWire => Observable::Travel,
        },
        label,
        times: Vec::with_capacity(bounds.len()),
        spans: Vec::with_capacity(bounds.len()),
        values: Vec::with_capacity(bounds.len()),
        deviations: Vec::with_capacity(bounds.len()),
        saturated: Vec::with_capacity(bounds.len()),
        noise,
        samples: values.len(),
        range: 0.0,
        onset: None,
        interval,
    };
    for pair in bounds.windows(2) {
        let &[first, last] = pair else { continue };
        let (Some(t), Some(v)) = (times.get(first..last), values.get(first..last)) else {
            continue;
        };
        let n = t.len() as f64;
        let mean = v.iter().sum::<f64>() / n;
        channel.times.push(t.iter().sum::<f64>() / n);
        let ends = t.first().zip(t.last());
        channel
            .spans
            .extend(ends.map(|(first, last)| (*first, *last, t.len())));
        channel.values.push(mean);
        channel.deviations.push(noise / n.sqrt());
        let at_stop = stop
            .is_some_and(|level| v.iter().filter(|value| **value >= level).count() * 2 > v.len());
        channel.saturated.push(at_stop);
    }
    let least = channel.values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = channel
        .values
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    channel.range = most - least;
    channel.onset = onset(&channel);
    (Some(channel), notes)
}

fn typical_interval(times: &[f64]) -> f64 {
    let mut gaps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    median(&mut gaps)
}

/// The middle one of some values in order, the upper of two; 0 of none. They are left in another order.
#[must_use]
pub fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

fn release(times: &[f64], values: &[f64], interval: f64, label: String) -> Channel {
    let broke = times
        .iter()
        .zip(values)
        .find(|(_, value)| **value < 0.5)
        .map(|(time, _)| *time);
    let end = times.last().copied().unwrap_or(0.0);
    Channel {
        observable: Observable::Release,
        label,
        times: vec![end],
        spans: vec![(end, end, 1)],
        values: vec![broke.unwrap_or(end)],
        // Wires tear and switches bounce within about a millisecond.
        deviations: vec![(1e-3_f64).hypot(interval)],
        saturated: vec![broke.is_none()],
        noise: interval,
        samples: times.len(),
        range: end - times.first().copied().unwrap_or(0.0),
        onset: None,
        interval,
    }
}

/// Standard deviation of white noise from second differences, which a smooth signal hardly moves:
/// e = y[i] - (y[i-1] + y[i+1])/2 has variance 3/2 sigma^2. By the median absolute deviation,
/// so that spikes and fronts do not count; at least what rounding to the recorded steps adds.
fn noise_level(values: &[f64]) -> f64 {
    let mut size: Vec<f64> = values
        .windows(3)
        .map(|three| (three[1] - 0.5 * (three[0] + three[2])).abs())
        .collect();
    let white = 1.4826 * median(&mut size) / 1.5f64.sqrt();
    let largest = values.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
    let step = values
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .filter(|step| *step > 1e-9 * largest)
        .fold(f64::INFINITY, f64::min);
    let rounding = if step.is_finite() && white < step {
        step / 12f64.sqrt()
    } else {
        0.0
    };
    white.max(rounding).max(1e-6 * largest)
}

/// Samples that are kept, and the longer runs among those that are not.
struct Sound {
    kept: Vec<usize>,
    dropouts: Vec<std::ops::Range<usize>>,
}

/// Leaves out isolated spikes and dropouts: runs that jump away within a sample, rest on one value, as a dead sensor
/// does, and jump back within a sample to where they came from. Short runs may rest anywhere; longer ones only as low
/// as the record begins, since the top of a pulse rests too, but a vessel that has emptied is not full a sample later.
fn without_spikes(values: &[f64], noise: f64) -> Sound {
    let n = values.len();
    let short = if n >= 200 { (n / 200).clamp(1, 50) } else { 1 };
    let long = if n >= 200 { n / MOST_LOST } else { 1 };
    let lowest = values.first().copied().unwrap_or(0.0) + SPIKE * noise;
    let mut keep = vec![true; n];
    let mut dropouts = Vec::new();
    let mut at = 1;
    while at + 1 < n {
        let (before, level) = (values[at - 1], values[at]);
        let jump = level - before;
        if jump.abs() <= SPIKE * noise {
            at += 1;
            continue;
        }
        let run = values[at..].iter().take(long + 1);
        let length = run.take_while(|v| (**v - level).abs() <= noise).count();
        let dropout = length > short;
        let low = jump < 0.0 && level < lowest;
        let found = values.get(at + length).is_some_and(|after| {
            let small = |difference: f64| difference.abs() < 0.25 * jump.abs();
            let step = (after - values[at + length - 1]).abs();
            let back = if dropout {
                // The signal went on in the meantime.
                length <= long && low && (0.5..2.0).contains(&(step / jump.abs())) && *after > level
            } else {
                small(after - before) && step > 0.75 * jump.abs()
            };
            // The signal itself rests on either side: the top of a short pulse is no spike.
            let flat = at.checked_sub(2).is_none_or(|i| small(values[i] - before))
                && values.get(at + length + 1).is_none_or(|v| small(v - after));
            back && flat
        });
        if found {
            keep[at..at + length].fill(false);
            if dropout {
                dropouts.push(at..at + length);
            }
            at += length;
        }
        at += 1;
    }
    let lost = keep.iter().filter(|k| !**k).count();
    // Many "spikes", or few samples, are a signal.
    let trusted = lost * MOST_LOST <= n && n >= 50;
    Sound {
        kept: (0..n).filter(|i| !trusted || keep[*i]).collect(),
        dropouts: if trusted { dropouts } else { Vec::new() },
    }
}

/// The largest value, if the sensor rests exactly on it while the signal was still rising.
fn end_stop(values: &[f64], noise: f64) -> Option<f64> {
    let top = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut start = None;
    let mut longest = (0, 0);
    for (index, value) in values.iter().chain(std::iter::once(&f64::NAN)).enumerate() {
        if *value == top {
            start.get_or_insert(index);
        } else if let Some(begin) = start.take()
            && index - begin > longest.1 - longest.0
        {
            longest = (begin, index);
        }
    }
    let length = longest.1 - longest.0;
    if length < END_STOP || length == values.len() {
        return None;
    }
    let back = length.min(longest.0).min(10);
    let earlier = values.get(longest.0 - back)?;
    let rising = (top - earlier) / back.max(1) as f64;
    (rising * 0.5 * length as f64 > 5.0 * noise).then_some(top)
}

/// Bounds of the blocks, as indices, ascending from 0 to the number of samples.
fn blocks(times: &[f64], values: &[f64], noise: f64, points: usize) -> Vec<usize> {
    let n = values.len();
    if n <= points {
        return (0..=n).collect();
    }
    let cells = CELLS.min(n);
    let (first, last) = (times[0], times[n - 1]);
    let cell_of =
        |time: f64| (((time - first) / (last - first) * cells as f64) as usize).min(cells - 1);
    let (mut sums, mut counts) = (vec![0.0; cells], vec![0.0; cells]);
    for (time, value) in times.iter().zip(values) {
        sums[cell_of(*time)] += value;
        counts[cell_of(*time)] += 1.0;
    }
    let means: Vec<Option<f64>> = sums
        .iter()
        .zip(&counts)
        .map(|(sum, count)| (*count > 0.0).then(|| sum / count))
        .collect();
    let high = means
        .iter()
        .flatten()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let motion = motion(&sums, &counts, noise);
    let moved: f64 = motion.iter().sum();
    let peak = means
        .iter()
        .position(|mean| mean.is_some_and(|mean| mean == high))
        .unwrap_or(0);
    let width = (cells as f64 / 100.0).max(1.0);
    let bump: Vec<f64> = (0..cells)
        .map(|cell| (-0.5 * ((cell as f64 - peak as f64) / width).powi(2)).exp())
        .collect();
    let bumped: f64 = bump.iter().sum();
    let (time_share, motion_share) = if moved > 0.0 {
        (TIME_SHARE, 1.0 - TIME_SHARE - PEAK_SHARE)
    } else {
        (1.0 - PEAK_SHARE, 0.0)
    };
    let weights: Vec<f64> = (0..cells)
        .map(|cell| {
            time_share / cells as f64
                + motion_share * motion[cell] / moved.max(f64::MIN_POSITIVE)
                + PEAK_SHARE * bump[cell] / bumped
        })
        .collect();
    let mut bounds = vec![0];
    let mut gathered = 0.0;
    let mut next = 1.0 / points as f64;
    for (index, time) in times.iter().enumerate().skip(1) {
        // The weight of a cell is spread over its samples.
        let cell = cell_of(*time);
        gathered += weights[cell] / counts[cell].max(1.0);
        if gathered >= next {
            bounds.push(index);
            while next <= gathered {
                next += 1.0 / points as f64;
            }
        }
    }
    if bounds.last() != Some(&n) {
        bounds.push(n);
    }
    bounds
}

/// When the value leaves the level it starts at: where it has clearly risen, extended back along
/// the rise to the level.
fn onset(channel: &Channel) -> Option<f64> {
    let values = &channel.values;
    let base = values.first()?;
    let threshold = (0.05 * channel.range).max(6.0 * channel.noise / 3.0);
    let index = values.iter().position(|v| v - base > threshold)?;
    let later = values
        .iter()
        .skip(index)
        .position(|v| v - base > 4.0 * threshold)
        .map_or(index, |ahead| index + ahead);
    let (t0, t1) = (channel.times.get(index)?, channel.times.get(later)?);
    let (v0, v1) = (values.get(index)?, values.get(later)?);
    let before = channel.times.get(index.saturating_sub(2))?;
    if v1 > v0 {
        let back = (v0 - base) / (v1 - v0) * (t1 - t0);
        Some((t0 - back).max(*before))
    } else {
        Some(*before)
    }
}

/// How fast the signal moves in each cell beyond what noise makes, from means of a few and of many cells
/// on either side: of single cells alone it would be the noise that sets the bounds of the blocks, and
/// outliers would stand alone.
fn motion(sums: &[f64], counts: &[f64], noise: f64) -> Vec<f64> {
    let cells = sums.len();
    let gathered = |values: &[f64]| -> Vec<f64> {
        let running = values.iter().scan(0.0, |total, value| {
            *total += value;
            Some(*total)
        });
        std::iter::once(0.0).chain(running).collect()
    };
    let (sums, counts) = (gathered(sums), gathered(counts));
    let mut motion = vec![0.0; cells];
    for reach in REACHES {
        for cell in reach..=cells.saturating_sub(reach) {
            let of = |series: &[f64], from: usize, to: usize| series[to] - series[from];
            let (n0, n1) = (
                of(&counts, cell - reach, cell),
                of(&counts, cell, cell + reach),
            );
            if n0 == 0.0 || n1 == 0.0 {
                continue;
            }
            let before = of(&sums, cell - reach, cell) / n0;
            let after = of(&sums, cell, cell + reach) / n1;
            let by_noise = BEYOND * noise * (1.0 / n0 + 1.0 / n1).sqrt();
            let rate = ((after - before).abs() - by_noise).max(0.0) / reach as f64;
            let half = reach.div_ceil(2);
            for slot in &mut motion[cell - half..(cell + half).min(cells)] {
                *slot = rate.max(*slot);
            }
        }
    }
    motion
}
