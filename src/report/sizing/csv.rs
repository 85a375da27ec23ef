//! Every candidate that passes as a table, in SI.

use crate::report::ReportError;
use crate::study::sizing::{Assessment, Case};

use super::Sized;

/// One row for each candidate that meets every requirement, the best first.
///
/// # Errors
/// [`ReportError::Table`] if it cannot be written.
pub fn table(sized: &Sized<'_>) -> Result<String, ReportError> {
    let plan = sized.plan();
    let mut head: Vec<String> = vec!["rank".to_owned(), "on_front".to_owned()];
    head.extend(
        plan.choices
            .iter()
            .map(|choice| choice.name.replace(' ', "_")),
    );
    head.extend(plan.values.iter().map(|value| format!("{}_si", value.path)));
    head.extend(
        [
            "mass_kg",
            "volume_m3",
            "margin",
            "margin_cold",
            "margin_nominal",
            "margin_hot",
            "limited_by",
            "chance",
            "chance_low",
            "chance_high",
            "trials",
        ]
        .map(str::to_owned),
    );
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(&head)?;
    let answer = sized.answer;
    let ranked = answer
        .best
        .iter()
        .enumerate()
        .map(|(i, a)| (Some(i + 1), a));
    let others = answer
        .passing
        .iter()
        .filter(|found| {
            !answer
                .best
                .iter()
                .any(|best| best.candidate == found.candidate)
        })
        .map(|found| (None, found));
    for (rank, found) in ranked.chain(others) {
        let mut row = vec![
            rank.map_or_else(String::new, |rank| rank.to_string()),
            answer
                .front
                .iter()
                .any(|on| on.candidate == found.candidate)
                .to_string(),
        ];
        let options = plan.choices.iter().zip(&found.candidate.choices);
        row.extend(options.map(|(choice, option)| {
            choice
                .options
                .get(*option)
                .map_or_else(String::new, |option| option.label.clone())
        }));
        let values = plan.values.iter().zip(&found.candidate.points);
        row.extend(values.map(|(value, point)| value.at(*point).to_string()));
        row.extend(numbers(found));
        writer.write_record(&row)?;
    }
    finish(writer)
}

fn numbers(found: &Assessment) -> Vec<String> {
    let number = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let chance = found.worst_chance();
    vec![
        found.mass.to_string(),
        found.volume.to_string(),
        found.margin().to_string(),
        number(found.margin_at(Case::Cold)),
        number(found.margin_at(Case::Nominal)),
        number(found.margin_at(Case::Hot)),
        found
            .closest()
            .map_or_else(String::new, |check| check.requirement.name()),
        number(chance.map(|chance| chance.share())),
        number(chance.map(|chance| chance.low)),
        number(chance.map(|chance| chance.high)),
        chance.map_or_else(String::new, |chance| chance.trials.to_string()),
    ]
}

/// What was written, as text.
pub(super) fn finish(mut writer: ::csv::Writer<Vec<u8>>) -> Result<String, ReportError> {
    writer.flush().map_err(::csv::Error::from)?;
    let bytes = writer
        .into_inner()
        .map_err(|error| ::csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
