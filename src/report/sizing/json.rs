//! The answer of a search as one JSON document, in SI; what did not happen is null.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::report::ReportError;
use crate::study::sizing::{Assessment, Case, Chance, Check};

use super::{Sized, temperature};

#[derive(Serialize)]
struct Document<'a> {
    design: &'a str,
    verdict: &'static str,
    aims: Vec<&'static str>,
    cases: Vec<CaseAt>,
    best: Vec<Offer>,
    front: Vec<Offer>,
    next_smaller: Option<Smaller>,
    nearest: Option<Offer>,
    relaxations: Vec<Relaxed>,
    combinations: usize,
    combinations_left_out: usize,
    candidates: usize,
    discharges: u64,
    interrupted: bool,
}

#[derive(Serialize)]
struct CaseAt {
    name: &'static str,
    temperature_k: Option<f64>,
}

#[derive(Serialize)]
struct Offer {
    choices: BTreeMap<String, String>,
    values: BTreeMap<String, f64>,
    mass_kg: Option<f64>,
    volume_m3: Option<f64>,
    margin: Option<f64>,
    margin_nominal: Option<f64>,
    margin_cold: Option<f64>,
    margin_hot: Option<f64>,
    limited_by: Option<String>,
    refusal: Option<String>,
    checks: Vec<CheckOf>,
    chances: Vec<ChanceOf>,
}

#[derive(Serialize)]
struct CheckOf {
    name: String,
    case: &'static str,
    value: Option<f64>,
    bound: bool,
    limit: f64,
    margin: Option<f64>,
    pass: bool,
}

#[derive(Serialize)]
struct ChanceOf {
    case: &'static str,
    chance: f64,
    low: f64,
    high: f64,
    successes: u64,
    trials: u64,
    not_computed: u64,
    stopped_early: bool,
    failures: BTreeMap<String, u64>,
}

#[derive(Serialize)]
struct Smaller {
    charge_kg: f64,
    passes: bool,
    attempt: Offer,
}

#[derive(Serialize)]
struct Relaxed {
    requirement: CheckOf,
    candidate: Offer,
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn check(check: &Check) -> CheckOf {
    CheckOf {
        name: check.requirement.name(),
        case: check.case.name(),
        value: check.value.and_then(finite),
        bound: check.bound,
        limit: check.limit,
        margin: finite(check.margin),
        pass: check.pass(),
    }
}

fn chance(chance: &Chance) -> ChanceOf {
    ChanceOf {
        case: chance.case.name(),
        chance: chance.share(),
        low: chance.low,
        high: chance.high,
        successes: chance.successes,
        trials: chance.trials,
        not_computed: chance.not_computed,
        stopped_early: chance.stopped_early,
        failures: chance.failures.clone(),
    }
}

fn offer(sized: &Sized<'_>, found: &Assessment) -> Offer {
    let plan = sized.plan();
    let choices = plan.choices.iter().zip(&found.candidate.choices);
    let values = plan.values.iter().zip(&found.candidate.points);
    let margin_at = |case| found.margin_at(case).and_then(finite);
    Offer {
        choices: choices
            .filter_map(|(choice, option)| {
                let option = choice.options.get(*option)?;
                Some((choice.name.replace(' ', "_"), option.label.clone()))
            })
            .collect(),
        values: values
            .map(|(value, point)| (value.path.clone(), value.at(*point)))
            .collect(),
        mass_kg: finite(found.mass),
        volume_m3: finite(found.volume),
        margin: finite(found.margin()),
        margin_nominal: margin_at(Case::Nominal),
        margin_cold: margin_at(Case::Cold),
        margin_hot: margin_at(Case::Hot),
        limited_by: found.closest().map(|check| check.requirement.name()),
        refusal: found.refusal.clone(),
        checks: found.checks.iter().map(check).collect(),
        chances: found.chances.iter().map(chance).collect(),
    }
}

/// The document, ending with a line break.
///
/// # Errors
/// [`ReportError::Json`] if it cannot be serialised.
pub fn document(sized: &Sized<'_>) -> Result<String, ReportError> {
    let answer = sized.answer;
    let plan = sized.plan();
    let document = Document {
        design: sized.name,
        verdict: if answer.best.is_empty() {
            "fail"
        } else {
            "pass"
        },
        aims: plan.aims.iter().map(|aim| aim.name()).collect(),
        cases: plan
            .cases()
            .into_iter()
            .map(|(case, _)| CaseAt {
                name: case.name(),
                temperature_k: temperature(plan, case),
            })
            .collect(),
        best: answer
            .best
            .iter()
            .map(|found| offer(sized, found))
            .collect(),
        front: answer
            .front
            .iter()
            .map(|found| offer(sized, found))
            .collect(),
        next_smaller: answer.next_smaller.as_ref().map(|smaller| Smaller {
            charge_kg: smaller.charge,
            passes: smaller.passes,
            attempt: offer(sized, &smaller.attempt),
        }),
        nearest: answer.nearest.as_ref().map(|found| offer(sized, found)),
        relaxations: answer
            .relaxations
            .iter()
            .map(|relaxation| Relaxed {
                requirement: check(&relaxation.check),
                candidate: offer(sized, &relaxation.candidate),
            })
            .collect(),
        combinations: answer.cells,
        combinations_left_out: answer.cells_left_out,
        candidates: answer.candidates,
        discharges: answer.discharges,
        interrupted: answer.interrupted,
    };
    Ok(serde_json::to_string_pretty(&document)? + "\n")
}
