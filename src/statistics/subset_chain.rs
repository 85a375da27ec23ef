//! Markov chains that stay in a failure domain, for subset simulation.
//!
//! Law: from u propose v = rho u + sigma xi, rho = sqrt(1 - sigma^2), xi standard normal;
//! accept if the response at v is below the threshold, else stay. The chain keeps
//! the standard normal density restricted to the domain, in any number of dimensions.
//! After each group of chains sigma is moved towards an acceptance of 0.44.
//! Source: Papaioannou, Betz, Zwirglmaier & Straub 2015, Probab. Eng. Mech. 41, 89,
//! eqs. 13-14 (conditional sampling), section 3.4 (adaptation).

use super::stream::{Purpose, Stream, hash};
use super::subset_simulation::FailedEvaluation;
use rayon::prelude::*;

/// Acceptance the adaptation aims for.
const ACCEPTANCE: f64 = 0.44;
/// Part of the chains between two adaptations.
const GROUPS: usize = 10;

/// A point and its response; minus infinity stands for "could not be evaluated".
#[derive(Debug, Clone)]
pub(super) struct Sample {
    pub(super) point: Vec<f64>,
    pub(super) response: f64,
}

/// All samples of one level, chain by chain, and what went wrong on the way.
pub(super) struct Level<E> {
    pub(super) chains: Vec<Vec<Sample>>,
    pub(super) acceptance: f64,
    pub(super) evaluations: u64,
    pub(super) failed: Vec<FailedEvaluation<E>>,
}

/// Evaluates a point, keeping what failed.
pub(super) fn evaluate<G, E>(
    limit_state: &G,
    point: Vec<f64>,
    failed: &mut Vec<FailedEvaluation<E>>,
) -> Sample
where
    G: Fn(&[f64]) -> Result<f64, E>,
{
    let error = match limit_state(&point) {
        Ok(response) if !response.is_nan() => return Sample { point, response },
        Ok(_) => None,
        Err(error) => Some(error),
    };
    failed.push(FailedEvaluation {
        point: point.clone(),
        error,
    });
    Sample {
        point,
        response: f64::NEG_INFINITY,
    }
}

/// Independent standard normal samples: the first level, each one a chain of its own.
pub(super) fn independent<G, E>(
    limit_state: &G,
    dimensions: usize,
    samples: usize,
    key: u64,
) -> Level<E>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
    E: Send,
{
    let drawn: Vec<(Sample, Vec<FailedEvaluation<E>>)> = (0..samples)
        .into_par_iter()
        .map(|index| {
            let mut point = vec![0.0; dimensions];
            Stream::new(key, Purpose::SubsetStart, index as u64).fill_normal(&mut point);
            let mut failed = Vec::new();
            (evaluate(limit_state, point, &mut failed), failed)
        })
        .collect();
    let mut level = Level {
        chains: Vec::with_capacity(samples),
        acceptance: 1.0,
        evaluations: samples as u64,
        failed: Vec::new(),
    };
    for (sample, failed) in drawn {
        level.chains.push(vec![sample]);
        level.failed.extend(failed);
    }
    level
}

/// Grows `samples` samples with response below `threshold` from `seeds`.
///
/// `spread` is sigma before the limit of 1, kept from level to level. Chains of a group
/// run side by side, groups one after the other, so the result does not depend on how
/// many threads there are.
pub(super) fn conditional<G, E>(
    limit_state: &G,
    mut seeds: Vec<Sample>,
    threshold: f64,
    samples: usize,
    spread: &mut f64,
    key: u64,
) -> Level<E>
where
    G: Fn(&[f64]) -> Result<f64, E> + Sync,
    E: Send,
{
    // seeds come sorted by response: shuffle, so that groups are alike
    let mut stream = Stream::new(key, Purpose::Other, 0);
    for index in (1..seeds.len()).rev() {
        seeds.swap(index, stream.below(index as u64 + 1) as usize);
    }
    let (length, longer) = (samples / seeds.len().max(1), samples % seeds.len().max(1));
    let group_size = seeds.len().div_ceil(GROUPS).max(1);
    let mut level = Level {
        chains: Vec::with_capacity(seeds.len()),
        acceptance: 0.0,
        evaluations: 0,
        failed: Vec::new(),
    };
    let mut accepted_in_all = 0;
    for (number, group) in seeds.chunks(group_size).enumerate() {
        let sigma = spread.min(1.0);
        let grown: Vec<(Vec<Sample>, usize, Vec<FailedEvaluation<E>>)> = group
            .par_iter()
            .enumerate()
            .map(|(position, seed)| {
                let index = number * group_size + position;
                let steps = (length + usize::from(index < longer)).saturating_sub(1);
                let stream = Stream::new(hash(key, &[1]), Purpose::SubsetChain, index as u64);
                grow(limit_state, seed, steps, threshold, sigma, stream)
            })
            .collect();
        let (mut accepted, mut proposed) = (0, 0);
        for (chain, moved, failed) in grown {
            accepted += moved;
            proposed += chain.len() - 1;
            level.chains.push(chain);
            level.failed.extend(failed);
        }
        accepted_in_all += accepted;
        level.evaluations += proposed as u64;
        if proposed > 0 {
            let rate = accepted as f64 / proposed as f64;
            let gain = 1.0 / (number as f64 + 1.0).sqrt();
            *spread = (*spread * (gain * (rate - ACCEPTANCE)).exp()).clamp(1e-3, 2.0);
        }
    }
    level.acceptance = accepted_in_all as f64 / level.evaluations.max(1) as f64;
    level
}

/// One chain: its seed and `steps` more samples; also how often it moved.
fn grow<G, E>(
    limit_state: &G,
    seed: &Sample,
    steps: usize,
    threshold: f64,
    sigma: f64,
    mut stream: Stream,
) -> (Vec<Sample>, usize, Vec<FailedEvaluation<E>>)
where
    G: Fn(&[f64]) -> Result<f64, E>,
{
    let rho = (1.0 - sigma * sigma).max(0.0).sqrt();
    let mut here = seed.clone();
    let mut chain = Vec::with_capacity(steps + 1);
    let mut failed = Vec::new();
    let mut moved = 0;
    for _ in 0..steps {
        let mut point = vec![0.0; here.point.len()];
        stream.fill_normal(&mut point);
        point
            .iter_mut()
            .zip(&here.point)
            .for_each(|(v, u)| *v = rho * u + sigma * *v);
        let proposal = evaluate(limit_state, point, &mut failed);
        let next = if proposal.response < threshold {
            moved += 1;
            proposal
        } else {
            here.clone()
        };
        chain.push(std::mem::replace(&mut here, next));
    }
    chain.push(here);
    (chain, moved, failed)
}
