//! What is concluded from trials: coverage of intervals and percentiles, histograms, and the
//! inputs behind a failure.

use coldkick::statistics::incomplete_beta::{binomial_cumulative, quantile_pair, regularised};
use coldkick::statistics::interval::{self, Count, IntervalBasis};
use coldkick::statistics::stream::{Purpose, Stream};
use coldkick::statistics::{
    Histogram, Sampler, SamplingMethod, percentile, separation, standard_normal,
};
use rayon::prelude::*;

/// Exact intervals cover at least 95 % for every p; Wilson's do on average. Summed over the
/// binomial law, not simulated.
#[test]
fn coverage_of_proportion_intervals() {
    let n = 40;
    let (mut wilson_sum, grid) = (0.0, 199);
    for step in 1..=grid {
        let p = f64::from(step) / f64::from(grid + 1);
        let (mut exact, mut wilson) = (0.0, 0.0);
        for k in 0..=n {
            let below = if k == 0 {
                0.0
            } else {
                binomial_cumulative(k - 1, n, p)
            };
            let mass = binomial_cumulative(k, n, p) - below;
            let holds = |i: interval::ProportionInterval| i.low <= p && p <= i.high;
            exact += mass
                * f64::from(u8::from(holds(
                    interval::clopper_pearson(k, n, 0.95).unwrap(),
                )));
            wilson += mass * f64::from(u8::from(holds(interval::wilson(k, n, 0.95).unwrap())));
        }
        assert!(
            exact >= 0.95 - 1e-12,
            "exact interval covers {exact} at p = {p}"
        );
        wilson_sum += wilson;
    }
    let mean = wilson_sum / f64::from(grid);
    assert!(
        (0.945..0.965).contains(&mean),
        "Wilson covers {mean} on average"
    );
}

/// Replicates that all agree do not make certainty, and the interval of Sobol replicates
/// covers at least 93 % of 500 campaigns, whether the event is rare or common.
#[test]
fn replicate_intervals_are_honest() {
    let all = vec![
        Count {
            successes: 64,
            trials: 64
        };
        16
    ];
    let found = interval::from_replicates(&all, 0.95).unwrap();
    assert_eq!(found.basis, IntervalBasis::ExactForFewEvents);
    let exact = interval::clopper_pearson(1024, 1024, 0.95).unwrap();
    assert_eq!((found.low, found.high), (exact.low, 1.0));
    assert!(found.low < 0.997);
    // all replicates alike though both outcomes are common
    let alike = vec![
        Count {
            successes: 32,
            trials: 64
        };
        16
    ];
    let found = interval::from_replicates(&alike, 0.95).unwrap();
    assert!(found.high - found.low > 0.05);
    assert!(interval::from_replicates(&all[..1], 0.95).is_err());

    for threshold in [2.2, 3.5, 5.0] {
        // sum of 4 uniforms squared above a threshold; truth from the average campaign
        let campaigns: Vec<Vec<Count>> = (0..500u64)
            .into_par_iter()
            .map(|seed| {
                let sampler = Sampler::new(SamplingMethod::Sobol, seed, 4, 16 * 64, 16).unwrap();
                let mut counts = vec![
                    Count {
                        successes: 0,
                        trials: 64
                    };
                    16
                ];
                let mut u = [0.0; 4];
                for index in 0..1024 {
                    sampler.uniforms(index, &mut u).unwrap();
                    let z: f64 = u.iter().map(|u| standard_normal::quantile(*u)).sum();
                    let replicate = sampler.replicate_of(index) as usize;
                    counts[replicate].successes += u64::from(z > threshold);
                }
                counts
            })
            .collect();
        let truth = standard_normal::exceedance(threshold / 2.0);
        let held = campaigns
            .iter()
            .filter(|counts| {
                let found = interval::from_replicates(counts, 0.95).unwrap();
                assert!(found.low < found.high);
                found.low <= truth && truth <= found.high
            })
            .count();
        println!("P {truth:.4}: held {held}/500");
        assert!(
            held >= 465,
            "P = {truth}: the interval held {held} of 500 times"
        );
    }
}

/// Order-statistic limits of a percentile cover it, and say so when they cannot.
#[test]
fn percentile_limits() {
    let few = percentile::sorted(&[3.0, 1.0, 2.0, 5.0, 4.0]).unwrap();
    let top = percentile::with_limits(&few, 0.95, 0.95).unwrap();
    assert_eq!(top.estimate, 4.8);
    assert_eq!(top.high, None);
    let median = percentile::with_limits(&few, 0.5, 0.9).unwrap();
    // P(all five on one side) = 1/32 each: limits are the extremes
    assert_eq!((median.low, median.high), (Some(1.0), Some(5.0)));
    // n = 100, p = 0.5, 95 %: the classical ranks 40 and 61
    let hundred: Vec<f64> = (1..=100).map(f64::from).collect();
    let median = percentile::with_limits(&hundred, 0.5, 0.95).unwrap();
    assert_eq!((median.low, median.high), (Some(40.0), Some(61.0)));
    let held = (0..400u64)
        .filter(|seed| {
            let mut stream = Stream::new(*seed, Purpose::Other, 1);
            let values: Vec<f64> = (0..300).map(|_| stream.uniform()).collect();
            let sorted = percentile::sorted(&values).unwrap();
            let found = percentile::with_limits(&sorted, 0.9, 0.95).unwrap();
            found.low.unwrap() <= 0.9 && 0.9 <= found.high.unwrap()
        })
        .count();
    assert!(held >= 370, "held {held} of 400");
    assert!(percentile::sorted(&[1.0, f64::NAN]).is_err());
}

/// The interval of a mean covers it: 95 % of 2000 samples of 10 normals, within four
/// standard errors of that.
#[test]
fn mean_interval_covers() {
    let held = (0..2000u64)
        .filter(|seed| {
            let mut values = [0.0; 10];
            Stream::new(*seed, Purpose::Other, 2).fill_normal(&mut values);
            let found = interval::mean(&values.into_iter().collect(), 0.95).unwrap();
            found.low <= 0.0 && 0.0 <= found.high
        })
        .count();
    assert!((1861..=1939).contains(&held), "held {held} of 2000");
}

#[test]
fn histogram_counts_everything_once() {
    let values: Vec<f64> = (0..1000).map(|i| (f64::from(i) * 0.37).sin()).collect();
    let whole = Histogram::of(&values, 40).unwrap();
    assert_eq!(whole.counts().iter().sum::<u64>(), 1000);
    assert_eq!(whole.edges().len(), whole.counts().len() + 1);
    let mut parts = Histogram::new(-0.5, 0.5, 10).unwrap();
    let mut other = parts.clone();
    values[..400].iter().for_each(|v| parts.push(*v));
    values[400..].iter().for_each(|v| other.push(*v));
    other.push(f64::NAN);
    parts.merge(&other).unwrap();
    let (below, above, unordered) = parts.outside();
    assert_eq!(parts.counts().iter().sum::<u64>() + below + above, 1000);
    assert_eq!(unordered, 1);
    assert_eq!(below, values.iter().filter(|v| **v < -0.5).count() as u64);
    assert_eq!(Histogram::of(&[2.0; 5], 10).unwrap().counts(), [5]);
    assert!(parts.merge(&whole).is_err());
}

/// A failure that comes from one input is traced to it, with its direction.
#[test]
fn failures_are_traced_to_their_input() {
    let count = 2000;
    let sampler = Sampler::new(SamplingMethod::Plain, 12, 4, count, 1).unwrap();
    let mut columns = vec![Vec::new(); 4];
    for index in 0..count {
        let mut u = [0.0; 4];
        sampler.uniforms(index, &mut u).unwrap();
        columns
            .iter_mut()
            .zip(u)
            .for_each(|(column, u)| column.push(u));
    }
    let failed_if =
        |fails: &dyn Fn(usize) -> bool| -> Vec<bool> { (0..count as usize).map(fails).collect() };
    let cold = separation::separate(&columns, &failed_if(&|i| columns[2][i] < 0.1)).unwrap();
    assert_eq!(
        (cold[0].input, cold[0].direction),
        (2, separation::Direction::Low)
    );
    assert_eq!(cold[0].strength, 1.0);
    assert!(
        cold[0].p_value < 1e-50 && cold[1].p_value > 0.001,
        "{cold:?}"
    );
    assert!(cold[0].median_failing < 0.1 && cold[0].median_passing > 0.5);
    assert_eq!(cold[0].telling, None, "of many values none is common");
    let late = separation::separate(
        &columns,
        &failed_if(&|i| columns[1][i] + 0.3 * columns[3][i] > 1.1),
    )
    .unwrap();
    assert_eq!(
        (late[0].input, late[0].direction),
        (1, separation::Direction::High)
    );
    assert_eq!(
        (late[1].input, late[1].direction),
        (3, separation::Direction::High)
    );
    let ends = separation::separate(
        &columns,
        &failed_if(&|i| (columns[0][i] - 0.5).abs() > 0.45),
    )
    .unwrap();
    assert_eq!(
        (ends[0].input, ends[0].direction),
        (0, separation::Direction::Outside)
    );
    let middle = separation::separate(
        &columns,
        &failed_if(&|i| (columns[0][i] - 0.5).abs() < 0.05),
    )
    .unwrap();
    assert_eq!(
        (middle[0].input, middle[0].direction),
        (0, separation::Direction::Inside)
    );
    // a cause that is none of the inputs: corrected p-values accuse nobody
    let chance = separation::separate(&columns, &failed_if(&|i| i % 9 == 4)).unwrap();
    assert!(chance[0].p_value > 0.01, "{chance:?}");
    assert!(separation::separate(&columns, &failed_if(&|_| false)).is_err());
}

/// The incomplete beta function is one minus its mirror image, and its own inverse.
#[test]
fn incomplete_beta_identities() {
    for (a, b) in [
        (0.05, 3.0),
        (1.0, 1.0),
        (7.5, 0.5),
        (300.0, 20.0),
        (2e6, 5e6),
    ] {
        for p in [1e-10, 0.001, 0.3, 0.5, 0.9, 0.999_999] {
            let (x, y) = quantile_pair(a, b, p);
            let sum = regularised(a, b, x, y) + regularised(b, a, y, x);
            assert!((sum - 1.0).abs() < 1e-12, "{a} {b} {p}: {sum}");
            let back = regularised(a, b, x, y);
            let tolerance = 1e-9 + 1e-15 * (a + b);
            assert!((back / p - 1.0).abs() < tolerance, "{a} {b} {p}: {back}");
        }
    }
    // I_x(1, b) = 1 - (1-x)^b. The prefactor is the exponential of terms of size
    // ln Gamma(b) < 20, each rounded: 1e-13 allows for a few of those.
    let (b, x) = (12.5, 0.07);
    let error = regularised(1.0, b, x, 1.0 - x) - (1.0 - (1.0f64 - x).powf(b));
    assert!(error.abs() < 1e-13, "{error:e}");
}

/// Of 4 failures 3 have the value 2, of 6 successes 1.
#[test]
fn failures_share_a_value_of_few() {
    let values = [2.0, 2.0, 2.0, 0.0, 2.0, 0.0, 0.0, 0.0, 1.0, 1.0];
    let failed: Vec<bool> = (0..10).map(|trial| trial < 4).collect();
    let found = separation::separate(&[values], &failed).unwrap();
    let telling = found[0].telling.expect("three values are few");
    assert_eq!(telling.value, 2.0);
    assert_eq!(telling.share_failing, 0.75);
    assert_eq!(telling.share_passing, 1.0 / 6.0);
}
