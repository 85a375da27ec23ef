//! Draws: the same bits whatever the threads and slices, uniformity across index and seed,
//! stratification, order of convergence, and rank correlation.

use coldkick::statistics::draw::{SOBOL_POINTS, derived_seed};
use coldkick::statistics::error::StatisticsError;
use coldkick::statistics::stream::{Purpose, Stream};
use coldkick::statistics::{GaussianCopula, RankCorrelation, Sampler, SamplingMethod};
use rayon::prelude::*;

const METHODS: [SamplingMethod; 3] = [
    SamplingMethod::Plain,
    SamplingMethod::LatinHypercube,
    SamplingMethod::Sobol,
];

/// Same bits for any slice, any order, any number of threads; all numbers inside (0, 1).
#[test]
fn trials_are_functions_of_seed_and_index() {
    for method in METHODS {
        let sampler = Sampler::new(method, 7, 5, 3000, 8).unwrap();
        let point = |index: u64| {
            let mut out = vec![0.0; 5];
            sampler.uniforms(index, &mut out).unwrap();
            assert!(
                out.iter().all(|u| *u > 0.0 && *u < 1.0),
                "{method:?} {index}: {out:?}"
            );
            out.iter().map(|u| u.to_bits()).collect::<Vec<u64>>()
        };
        let straight: Vec<_> = (0..3000).map(point).collect();
        for threads in [1, 2, 5] {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            let parallel: Vec<_> =
                pool.install(|| (0..3000u64).into_par_iter().map(point).collect());
            assert!(parallel == straight, "{method:?} on {threads} threads");
        }
        // slices k of 7, merged by index
        let mut merged = vec![Vec::new(); 3000];
        for slice in 0..7u64 {
            for index in (0..3000).rev().filter(|index| index % 7 == slice) {
                merged[index as usize] = point(index);
            }
        }
        assert!(merged == straight, "{method:?} in slices");
        let other = Sampler::new(method, 8, 5, 3000, 8).unwrap();
        let mut out = vec![0.0; 5];
        other.uniforms(0, &mut out).unwrap();
        assert!(
            out.iter()
                .map(|u| u.to_bits())
                .ne(straight[0].iter().copied())
        );
        // no two trials share a number: 15 000 of 2^52 would collide with chance 3e-8
        let mut all: Vec<u64> = straight.concat();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), 15_000, "{method:?}");
    }
}

/// The bits themselves, so that a change of generator cannot pass unseen: a result file
/// written by one version must be resumed by the next.
#[test]
fn the_streams_stay_what_they_are() {
    let first: Vec<String> = METHODS
        .iter()
        .map(|method| {
            let sampler = Sampler::new(*method, 2026, 2, 64, 4).unwrap();
            let mut out = [0.0; 2];
            sampler.uniforms(37, &mut out).unwrap();
            format!("{method:?} {:.15} {:.15}", out[0], out[1])
        })
        .collect();
    insta::assert_snapshot!(first.join("\n"), @r"
    Plain 0.158261108804402 0.477763253835174
    LatinHypercube 0.730801622790207 0.837239808753901
    Sobol 0.596286379435773 0.608640479545228
    ");
}

fn uniform_across_index(seed: u64, count: u64) -> Vec<f64> {
    let sampler = Sampler::new(SamplingMethod::Plain, seed, 1, count, 1).unwrap();
    let one = |index| {
        let mut out = [0.0];
        sampler.uniforms(index, &mut out).unwrap();
        out[0]
    };
    (0..count).map(one).collect()
}

/// Kolmogorov-Smirnov distance of a sample from the uniform, times sqrt(n): above 1.95 with
/// chance 0.001 (Kolmogorov's limit).
fn kolmogorov(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len() as f64;
    let gap = |(i, u): (usize, &f64)| (u - i as f64 / n).max((i as f64 + 1.0) / n - u);
    sorted.iter().enumerate().map(gap).fold(0.0, f64::max) * n.sqrt()
}

/// Chi-square of counts in 100 bins, in standard deviations from its mean of 99.
fn chi_square(values: &[f64]) -> f64 {
    let mut counts = [0.0; 100];
    values
        .iter()
        .for_each(|u| counts[(u * 100.0) as usize] += 1.0);
    let expected = values.len() as f64 / 100.0;
    let chi: f64 = counts
        .iter()
        .map(|c| (c - expected) * (c - expected) / expected)
        .sum();
    (chi - 99.0) / 198f64.sqrt()
}

fn correlation(values: &[f64], lag: usize) -> f64 {
    let pairs = values.iter().zip(&values[lag..]);
    let n = (values.len() - lag) as f64;
    12.0 * pairs.map(|(a, b)| (a - 0.5) * (b - 0.5)).sum::<f64>() / n * n.sqrt()
}

/// The first number of a trial must be uniform and uncorrelated across consecutive indices,
/// across consecutive seeds, and within a trial; so must neighbouring pairs.
#[test]
fn streams_are_uniform_across_index_and_seed() {
    let count = 100_000;
    let across_seed: Vec<f64> = (0..count)
        .map(|seed| Stream::new(seed, Purpose::Trial, 3).uniform())
        .collect();
    let bit_seeds: Vec<f64> = (0..count)
        .map(|i| Stream::new(i.reverse_bits(), Purpose::Trial, i << 40).uniform())
        .collect();
    let mut stream = Stream::new(5, Purpose::Trial, 0);
    let within: Vec<f64> = (0..count).map(|_| stream.uniform()).collect();
    let derived: Vec<f64> = (0..count)
        .map(|part| Stream::new(derived_seed(9, part), Purpose::Trial, 0).uniform())
        .collect();
    let sets = [
        uniform_across_index(0, count),
        uniform_across_index(u64::MAX, count),
        across_seed,
        bit_seeds,
        within,
        derived,
    ];
    for (set, values) in sets.iter().enumerate() {
        assert!(
            kolmogorov(values) < 1.95,
            "set {set}: KS {}",
            kolmogorov(values)
        );
        assert!(
            chi_square(values).abs() < 4.0,
            "set {set}: chi-square {}",
            chi_square(values)
        );
        for lag in [1, 2, 3, 7, 64, 1024] {
            let z = correlation(values, lag);
            assert!(z.abs() < 4.0, "set {set}: lag {lag}, {z} standard errors");
        }
        // pairs of neighbours fill a 10 x 10 board evenly
        let board: Vec<f64> = values
            .chunks_exact(2)
            .map(|pair| (10.0 * pair[0]).floor() / 10.0 + pair[1] / 10.0)
            .collect();
        assert!(
            chi_square(&board).abs() < 4.0,
            "set {set}: board {}",
            chi_square(&board)
        );
    }
}

/// Latin hypercube: each input of each replicate has exactly one value in each slice, also
/// when replicates do not divide the trials. Sobol: the same for powers of two, and in two
/// dimensions each of the elementary boxes of a (0, m, 2)-net.
#[test]
fn stratified_points_are_stratified() {
    for (trials, replicates) in [(640, 4), (645, 4), (17, 1)] {
        let sampler =
            Sampler::new(SamplingMethod::LatinHypercube, 3, 3, trials, replicates).unwrap();
        for replicate in 0..replicates {
            let members: Vec<u64> = (0..trials)
                .filter(|i| sampler.replicate_of(*i) == replicate)
                .collect();
            for dimension in 0..3 {
                let mut slices: Vec<usize> = members
                    .iter()
                    .map(|index| {
                        let mut out = [0.0; 3];
                        sampler.uniforms(*index, &mut out).unwrap();
                        (out[dimension] * members.len() as f64) as usize
                    })
                    .collect();
                slices.sort_unstable();
                assert!(slices.into_iter().eq(0..members.len()));
            }
        }
    }
    let sampler = Sampler::new(SamplingMethod::Sobol, 3, 2, 4 * 256, 4).unwrap();
    for replicate in 0..4u64 {
        for columns in [1usize, 4, 16, 64, 256] {
            let rows = 256 / columns;
            let mut boxes = vec![0; 256];
            for point in 0..256 {
                let mut out = [0.0; 2];
                sampler.uniforms(4 * point + replicate, &mut out).unwrap();
                let (x, y) = (out[0] * columns as f64, out[1] * rows as f64);
                boxes[x as usize * rows + y as usize] += 1;
            }
            assert!(boxes.iter().all(|count| *count == 1), "{columns} columns");
        }
    }
}

/// On a smooth integrand in six dimensions the error of scrambled Sobol points falls about
/// as n^-1.5 (Owen 1997), that of plain draws as n^-0.5.
#[test]
fn sobol_converges_faster_than_plain() {
    let order = |method: SamplingMethod| {
        let replicates = 64;
        let error = |points: u64| {
            let sampler =
                Sampler::new(method, 1, 6, points * replicates, replicates as u32).unwrap();
            let mut sums = vec![0.0; replicates as usize];
            let mut u = [0.0; 6];
            for index in 0..points * replicates {
                sampler.uniforms(index, &mut u).unwrap();
                let product: f64 = (1..)
                    .zip(u)
                    .map(|(j, u)| 1.0 + (u.exp() - 1f64.exp() + 1.0) / f64::from(j * j))
                    .product();
                sums[(index % replicates) as usize] += product - 1.0;
            }
            let square: f64 = sums.iter().map(|sum| (sum / points as f64).powi(2)).sum();
            (square / replicates as f64).sqrt()
        };
        let sizes = [64u64, 256, 1024, 4096];
        let errors = sizes.map(error);
        println!("{method:?}: {errors:?}");
        (
            (errors[0] / errors[3]).ln() / (sizes[3] as f64 / sizes[0] as f64).ln(),
            errors[3],
        )
    };
    let (plain, plain_error) = order(SamplingMethod::Plain);
    let (sobol, sobol_error) = order(SamplingMethod::Sobol);
    let (_, latin_error) = order(SamplingMethod::LatinHypercube);
    assert!((plain - 0.5).abs() < 0.1, "plain draws: order {plain}");
    assert!(sobol > 1.2, "Sobol: order {sobol}");
    assert!(
        sobol_error < plain_error / 50.0,
        "{sobol_error} against {plain_error}"
    );
    assert!(
        latin_error < plain_error / 2.0,
        "{latin_error} against {plain_error}"
    );
}

#[test]
fn samplers_refuse_what_they_cannot_do() {
    let new = |method, dimensions, trials, replicates| {
        Sampler::new(method, 0, dimensions, trials, replicates)
    };
    use SamplingMethod::{Plain, Sobol};
    assert_eq!(new(Plain, 1, 0, 1), Err(StatisticsError::NoTrials));
    assert!(matches!(
        new(Plain, 1, 5, 6),
        Err(StatisticsError::Replicates { .. })
    ));
    assert!(matches!(
        new(Sobol, 257, 5, 1),
        Err(StatisticsError::TooManyDimensions { .. })
    ));
    assert!(matches!(
        new(Sobol, 2, 2 * SOBOL_POINTS + 1, 2),
        Err(StatisticsError::TooManyTrials { needed: 3, .. })
    ));
    let trials = 40 * SOBOL_POINTS - 7;
    let sampler = new(Sobol, 256, trials, Sobol.default_replicates(trials)).unwrap();
    let mut out = vec![0.0; 256];
    sampler.uniforms(trials - 1, &mut out).unwrap();
    assert!(out.iter().all(|u| *u > 0.0 && *u < 1.0));
    assert!(matches!(
        sampler.uniforms(trials, &mut out),
        Err(StatisticsError::IndexOutOfRange { .. })
    ));
    assert!(matches!(
        sampler.uniforms(0, &mut out[..3]),
        Err(StatisticsError::LengthMismatch { .. })
    ));
}

fn pair(first: &str, second: &str, rank: f64) -> RankCorrelation {
    RankCorrelation {
        first: first.into(),
        second: second.into(),
        rank,
    }
}

/// Spearman correlations reached are those asked for, marginals stay uniform, and draws
/// outside the correlation keep their bits.
#[test]
fn copula_reaches_the_rank_correlations() {
    let names = ["lag", "leak", "cold", "pin"];
    let asked = [
        pair("pin", "lag", 0.7),
        pair("lag", "cold", -0.4),
        pair("pin", "cold", 0.1),
    ];
    let copula = GaussianCopula::new(&names, &asked).unwrap();
    let count = 40_000;
    let sampler = Sampler::new(SamplingMethod::Plain, 4, 4, count, 1).unwrap();
    let mut columns = vec![Vec::new(); 4];
    for index in 0..count {
        let mut u = [0.0; 4];
        sampler.uniforms(index, &mut u).unwrap();
        let before = u[1].to_bits();
        copula.correlate(&mut u);
        assert_eq!(u[1].to_bits(), before);
        columns
            .iter_mut()
            .zip(u)
            .for_each(|(column, u)| column.push(u));
    }
    for column in &columns {
        assert!(kolmogorov(column) < 1.95);
    }
    // uniforms are their own ranks; standard error of a correlation about 1/sqrt(n)
    let spearman = |a: usize, b: usize| {
        let products = columns[a]
            .iter()
            .zip(&columns[b])
            .map(|(x, y)| (x - 0.5) * (y - 0.5));
        12.0 * products.sum::<f64>() / count as f64
    };
    for (a, b, expected) in [(3, 0, 0.7), (0, 2, -0.4), (3, 2, 0.1), (1, 0, 0.0)] {
        let got = spearman(a, b);
        assert!(
            (got - expected).abs() < 0.025,
            "{a} {b}: {got} for {expected}"
        );
    }
    assert!(GaussianCopula::new(&names, &[]).unwrap().is_independent());
}

#[test]
fn contradictory_correlations_are_refused_by_name() {
    let names = ["a", "b", "c", "d"];
    let refuse = |pairs: &[RankCorrelation]| GaussianCopula::new(&names, pairs).unwrap_err();
    assert!(
        matches!(refuse(&[pair("a", "x", 0.1)]), StatisticsError::UnknownName { name } if name == "x")
    );
    assert!(matches!(
        refuse(&[pair("a", "a", 0.1)]),
        StatisticsError::CorrelationPair { .. }
    ));
    let twice = [pair("a", "b", 0.1), pair("b", "a", 0.2)];
    assert!(matches!(
        refuse(&twice),
        StatisticsError::CorrelationPair { .. }
    ));
    assert!(matches!(
        refuse(&[pair("a", "b", 1.0)]),
        StatisticsError::CorrelationRange { .. }
    ));
    let pairs = [
        pair("a", "b", 0.9),
        pair("b", "c", 0.9),
        pair("a", "c", -0.9),
        pair("c", "d", 0.1),
    ];
    let StatisticsError::NotPositiveDefinite {
        first,
        second,
        smallest_eigenvalue,
        consistent_factor,
    } = refuse(&pairs)
    else {
        panic!("not refused")
    };
    assert!(smallest_eigenvalue < -0.5);
    assert!("abc".contains(&first) && "abc".contains(&second) && first != second);
    // at the factor named (of the correlations of the normals) they just agree
    let shrunk = |factor: f64| {
        let scaled: Vec<RankCorrelation> = pairs
            .iter()
            .map(|p| {
                let r = factor * 2.0 * (std::f64::consts::PI * p.rank / 6.0).sin();
                pair(
                    &p.first,
                    &p.second,
                    6.0 / std::f64::consts::PI * (r / 2.0).asin(),
                )
            })
            .collect();
        GaussianCopula::new(&names, &scaled)
    };
    assert!(shrunk(0.999 * consistent_factor).is_ok());
    assert!(shrunk(1.001 * consistent_factor).is_err());
}
