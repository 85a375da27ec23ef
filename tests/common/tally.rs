//! What a campaign of diagnoses has found.
#![allow(dead_code)] // each test binary uses its own part

use std::collections::BTreeMap;

use coldkick::study::diagnosis::{Cause, Diagnosis};

use super::campaign::{Case, SHOWS};

/// Probability from which on an answer is a claim.
pub const CLAIM: f64 = 0.8;
/// Probability from which on a second explanation shares the answer.
const SHARES: f64 = 0.1;

/// Right answers among some.
#[derive(Default, Clone, Copy)]
pub struct Share(pub u32, pub u32);

impl Share {
    fn enter(&mut self, right: bool) {
        self.0 += u32::from(right);
        self.1 += 1;
    }

    fn part(self) -> f64 {
        f64::from(self.0) / f64::from(self.1.max(1))
    }

    /// Standard deviation of the share, were it the true one [1].
    fn deviation(self) -> f64 {
        (self.part() * (1.0 - self.part()) / f64::from(self.1.max(1))).sqrt()
    }
}

impl std::fmt::Display for Share {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (share, deviation) = (100.0 * self.part(), 100.0 * self.deviation());
        write!(
            f,
            "{} of {} ({share:.1} +- {deviation:.1} %)",
            self.0, self.1
        )
    }
}

/// What a part of the campaign has found.
#[derive(Default)]
pub struct Tally {
    /// The true cause first.
    pub right: Share,
    /// The same, of faults that show and of tests with nothing wrong.
    pub shown: Share,
    /// The true cause among the likeliest ones that make up 90 %.
    pub among: Share,
    /// Answers of 80 % or more that were right.
    pub sure: Share,
    /// 90 % intervals of what the true cause frees, where it came first, that hold it.
    pub intervals: Share,
    /// By true cause: it came first, claims that were right, intervals that hold, draws that did not show.
    by_cause: BTreeMap<&'static str, (Share, Share, Share, u64)>,
    /// Pairs of causes that shared an answer: how often, and the largest probability of a first one that
    /// was wrong.
    pairs: BTreeMap<(&'static str, &'static str), (u32, f64)>,
    /// Sum of the probabilities of the first answers: how many should be right.
    claimed: f64,
    /// Tests in which none of the causes was likelier than the first.
    none: u32,
    seconds: Vec<f64>,
    runs: Vec<u64>,
}

impl Tally {
    /// Enters one answer and says it in a line.
    pub fn enter(&mut self, case: &Case, answer: &Diagnosis, seconds: f64) -> String {
        let first = &answer.explanations[0];
        let hit = first.cause == case.cause;
        let own = self.by_cause.entry(case.cause.label()).or_default();
        self.right.enter(hit);
        own.0.enter(hit);
        own.3 += case.hidden;
        if case.shows.is_none_or(|shows| shows > SHOWS) {
            self.shown.enter(hit);
        }
        self.seconds.push(seconds);
        self.runs.push(answer.evaluations);
        self.claimed += first.probability;
        self.none += u32::from(answer.none > first.probability);
        if first.probability >= CLAIM {
            self.sure.enter(hit);
            own.1.enter(hit);
        }
        for other in answer
            .explanations
            .iter()
            .filter(|e| e.cause != first.cause)
        {
            let wrong = !hit && other.cause == case.cause;
            if other.probability > SHARES || wrong {
                let (a, b) = (first.cause.min(other.cause), first.cause.max(other.cause));
                let pair = self.pairs.entry((a.label(), b.label())).or_default();
                pair.0 += 1;
                if wrong {
                    pair.1 = pair.1.max(first.probability);
                }
            }
        }
        let mut gathered = 0.0;
        let set = answer.explanations.iter().take_while(|explanation| {
            let counts = gathered < 0.9 * (1.0 - answer.none);
            gathered += explanation.probability;
            counts
        });
        let among = set.into_iter().any(|e| e.cause == case.cause);
        self.among.enter(among);
        let mut line = format!(
            "{} {}:",
            if hit { "ok " } else { "BAD" },
            case.cause.label()
        );
        for explanation in answer.explanations.iter().take(3) {
            let label = explanation.cause.label();
            line += &format!(" {label} {:.3},", explanation.probability);
        }
        line += &format!(
            " none {:.3}, p {:.3}, surprise {:.1}, inflation {:.2}, {} runs, {seconds:.2} s",
            answer.none,
            answer.goodness.p_value,
            first.surprise,
            answer.inflation,
            answer.evaluations
        );
        if let Some(shows) = case.shows {
            line += &format!("; shows by {shows:.1} after {} that do not", case.hidden);
        }
        let explanation = answer.explanations.iter().find(|e| e.cause == case.cause);
        let faults = explanation.iter().flat_map(|e| e.faults.iter());
        for (value, truth) in faults.zip(&case.reported) {
            let inside = value.low <= *truth && *truth <= value.high;
            if hit {
                self.intervals.enter(inside);
                own.2.enter(inside);
            }
            line += &format!(
                "; {} {:.4e} [{:.4e} {:.4e}] true {truth:.4e}{}",
                value.label,
                value.value,
                value.low,
                value.high,
                if inside { "" } else { " OUTSIDE" }
            );
        }
        line
    }

    /// All of it.
    pub fn summary(&self) -> String {
        let mut text = format!(
            "right first {}, claimed {:.1}; of faults that show {}; among those that make up 90 % \
             {}; of answers at 80 % or more {} right; 90 % intervals that hold {}; none of these {}; \
             middle {:.2} s and {} runs, 90 % within {:.2} s and {}\n",
            self.right,
            self.claimed,
            self.shown,
            self.among,
            self.sure,
            self.intervals,
            self.none,
            at(&self.seconds, 0.5),
            at(&self.runs, 0.5),
            at(&self.seconds, 0.9),
            at(&self.runs, 0.9)
        );
        for cause in Cause::ALL {
            let Some((right, sure, intervals, hidden)) = self.by_cause.get(cause.label()) else {
                continue;
            };
            text += &format!(
                "{:24} first {right}; claims {sure}; intervals {intervals}; drawn again {hidden}\n",
                cause.label()
            );
        }
        for ((a, b), (count, wrong)) in &self.pairs {
            text += &format!("{a} or {b}: {count}, wrong at most at {wrong:.2}\n");
        }
        text
    }
}

/// Value below which a share of some lies.
fn at<T: Copy + PartialOrd + Default>(values: &[T], share: f64) -> T {
    let mut sorted = values.to_vec();
    sorted.sort_by(|a, b| a.partial_cmp(b).unwrap());
    let place = (share * sorted.len() as f64) as usize;
    sorted
        .get(place)
        .or(sorted.last())
        .copied()
        .unwrap_or_default()
}
