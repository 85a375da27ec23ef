//! Which hypothesis is the likeliest, and whether it explains the traces.

use rayon::prelude::*;

use super::DiagnosisSettings;
use super::cause::Cause;
use super::hypothesis::Hypothesis;

/// Explanations that are worked on at a time while nothing explains the traces.
pub const TOGETHER: usize = 4;
/// The same where the likeliest mostly explains the traces then, and the others need not be worked on.
pub const AT_ONCE: usize = 2;
/// Logarithm of the evidence behind the best within which an explanation is in the running.
pub const IN_THE_RUNNING: f64 = 12.0;
/// The same within which it is worth trying with what serves the best.
pub const BORROWS: f64 = 40.0;

/// Place of the likeliest one that has a fit.
#[must_use]
pub fn place_of_best(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
) -> Option<usize> {
    hypotheses
        .iter()
        .enumerate()
        .filter(|(_, h)| h.fit.is_some())
        .max_by(|a, b| {
            a.1.log_weight(settings)
                .total_cmp(&b.1.log_weight(settings))
        })
        .map(|(index, _)| index)
}

/// The likeliest one that has a fit.
#[must_use]
pub fn best_of<'h, 'm, 'a>(
    hypotheses: &'h [Hypothesis<'m, 'a>],
    settings: &DiagnosisSettings,
) -> Option<&'h Hypothesis<'m, 'a>> {
    hypotheses.get(place_of_best(hypotheses, settings)?)
}

/// Whether the residuals of a fit look like noise.
#[must_use]
pub fn explains(hypothesis: &Hypothesis<'_, '_>) -> bool {
    let goodness = hypothesis.goodness();
    goodness.is_some_and(|goodness| goodness.looks_like_noise())
}

/// Whether the best explanation explains the traces.
#[must_use]
pub fn explained(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> bool {
    best_of(hypotheses, settings).is_some_and(explains)
}

/// Whether the best explanation explains the traces with values no further from what is believed of them than they are
/// on the mean, as many squares as values are settled: then no other can explain the traces much better.
#[must_use]
pub fn easily_explained(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> bool {
    let best = best_of(hypotheses, settings).filter(|best| explains(best));
    let fit = best.and_then(|best| best.fit.as_ref());
    fit.is_some_and(|fit| fit.surprise < fit.settled())
}

/// Logarithm of the evidence of the likeliest, times its chance beforehand.
#[must_use]
pub fn most_likely(hypotheses: &[Hypothesis<'_, '_>], settings: &DiagnosisSettings) -> f64 {
    let weights = hypotheses.iter().map(|h| h.log_weight(settings));
    weights.fold(f64::NEG_INFINITY, f64::max)
}

/// Acts on the likeliest few, and as long as nothing explains the traces on the ones after them; where something does
/// from the beginning, on all. What acts is told the weight of the likeliest by then.
pub fn in_turns<'m, 'a>(
    hypotheses: &mut [Hypothesis<'m, 'a>],
    settings: &DiagnosisSettings,
    few: usize,
    act: impl Fn(&mut Hypothesis<'m, 'a>, f64) + Sync,
) {
    let explained = explained(hypotheses, settings);
    let mut most = most_likely(hypotheses, settings);
    let weighed = hypotheses.iter_mut();
    let mut queue: Vec<_> = weighed.map(|h| (h.log_weight(settings), h)).collect();
    queue.sort_by(|a, b| b.0.total_cmp(&a.0));
    let together = if explained { queue.len() } else { few };
    for group in queue.chunks_mut(together.max(1)) {
        group
            .par_iter_mut()
            .for_each(|(_, hypothesis)| act(hypothesis, most));
        if !explained && group.iter().any(|(_, hypothesis)| explains(hypothesis)) {
            return;
        }
        let weights = group.iter().map(|(_, h)| h.log_weight(settings));
        most = weights.fold(most, f64::max);
    }
}

/// Logarithm of the evidence of the last of so many likeliest causes, times its chance beforehand, each with the
/// discrete values that serve it best.
pub fn weight_of(
    hypotheses: &[Hypothesis<'_, '_>],
    settings: &DiagnosisSettings,
    place: usize,
) -> f64 {
    let of = |cause: &Cause| {
        let own = hypotheses.iter().filter(|h| h.problem.cause == *cause);
        own.map(|h| h.log_weight(settings)).max_by(f64::total_cmp)
    };
    let mut weights: Vec<f64> = Cause::ALL.iter().filter_map(of).collect();
    weights.sort_by(|a, b| b.total_cmp(a));
    let found = weights.get(place - 1).or(weights.last());
    found.copied().unwrap_or(f64::NEG_INFINITY)
}
