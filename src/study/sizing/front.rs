//! The trade-off between two aims.

use super::assessment::Assessment;
use super::problem::Aim;

/// A candidate's place in the trade-off: how good in each of two aims, less being better.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// First aim.
    pub first: f64,
    /// Second aim.
    pub second: f64,
}

impl Figure {
    /// The figure of an assessment.
    #[must_use]
    pub fn of(assessment: &Assessment, aims: (Aim, Aim)) -> Self {
        Figure {
            first: assessment.objective(aims.0),
            second: assessment.objective(aims.1),
        }
    }
}

/// The candidates that no other beats in both aims, by the first aim; of equals the first.
#[must_use]
pub fn non_dominated(all: &[Assessment], aims: (Aim, Aim)) -> Vec<Assessment> {
    let mut sorted: Vec<(Figure, &Assessment)> = all
        .iter()
        .map(|assessment| (Figure::of(assessment, aims), assessment))
        .collect();
    sorted.sort_by(|(a, _), (b, _)| {
        a.first
            .total_cmp(&b.first)
            .then(a.second.total_cmp(&b.second))
    });
    let mut least = f64::INFINITY;
    let mut front = Vec::new();
    for (figure, assessment) in sorted {
        if figure.second < least {
            least = figure.second;
            front.push(assessment.clone());
        }
    }
    front
}

/// Ends of the trade-off, for bringing two aims to one scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    ideal: Figure,
    width: Figure,
}

impl Span {
    /// Of a front that has two ends; `None` for one point or none.
    pub fn of(front: &[Assessment], aims: (Aim, Aim)) -> Option<Self> {
        let first = Figure::of(front.first()?, aims);
        let last = Figure::of(front.last()?, aims);
        let width = Figure {
            first: last.first - first.first,
            second: first.second - last.second,
        };
        (width.first > 0.0 && width.second > 0.0).then_some(Span {
            ideal: Figure {
                first: first.first,
                second: last.second,
            },
            width,
        })
    }

    /// Distance from the ideal, the larger of the two shares, each weighted (Chebyshev), with a
    /// thousandth of their sum so that nothing dominated wins.
    pub fn distance(&self, figure: Figure, weight: f64) -> f64 {
        let first = weight * (figure.first - self.ideal.first) / self.width.first;
        let second = (1.0 - weight) * (figure.second - self.ideal.second) / self.width.second;
        first.max(second) + 1e-3 * (first + second)
    }
}
