//! The answer of a search as text: the verdict, the best few, what to buy and drill, why not less.

use std::fmt::Write;

use crate::design::sizing::{Bill, OpenValue};
use crate::report::terminal::{FAIL, PASS, WARNING, bullet, cautions, columns, heading};
use crate::study::CriterionKind;
use crate::study::sizing::{Aim, Assessment, Case, Chance, Progress, Requirement, Workshop};
use crate::units::{UnitSystem, format_mass, format_percent, format_volume, significant};

use super::{Sized, objective, signed};

/// The answer, its verdict in the first line; with `brief` that line alone.
#[must_use]
pub fn answer(sized: &Sized<'_>, bill: Option<&Bill>, units: UnitSystem, brief: bool) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{}", verdict(sized, units));
    if brief {
        return out;
    }
    let answer = sized.answer;
    if answer.best.is_empty() {
        blocked(&mut out, sized, units);
    } else {
        best(&mut out, sized, units);
        if let Some(first) = answer.best.first() {
            margins(&mut out, sized, first, units);
            chances(&mut out, sized, first, units);
        }
        if let Some(first) = answer.best.first() {
            drill(&mut out, sized, first, units);
        }
        if let Some(bill) = bill {
            parts(&mut out, bill, units);
            weightless(&mut out, sized, bill);
        }
        smaller(&mut out, sized, units);
        front(&mut out, sized, units);
    }
    account(&mut out, sized);
    cautions(&mut out);
    out
}

/// Chance of success below which it is said that only expected values pass: there the odds are that a built one does
/// not. Ours, without a source.
const POOR: f64 = 0.95;

/// Whether too few of the draws around the expected values succeed.
fn poor(found: &Assessment) -> bool {
    let chance = found.worst_chance();
    chance.is_some_and(|chance| chance.share() < POOR)
}

/// What stands above everything else.
fn verdict(sized: &Sized<'_>, units: UnitSystem) -> String {
    let name = sized.name;
    let stopped = if sized.answer.interrupted {
        "; stopped early, so there may be better"
    } else {
        ""
    };
    if let Some(first) = sized.answer.best.first() {
        let limit = first.closest().map_or_else(String::new, |check| {
            format!(
                "; least margin {}: {}",
                signed(check.margin),
                sized.check(check, units)
            )
        });
        let chance = first.worst_chance().map_or_else(String::new, |chance| {
            format!("; chance {}", shown_chance(sized, chance, units))
        });
        let word = if poor(first) {
            format!("{WARNING}PASS with expected values only{WARNING:#}")
        } else {
            format!("{PASS}PASS{PASS:#}")
        };
        return format!(
            "{word}  {name}: {}: {}, {}{limit}{chance}{stopped}",
            sized.in_words(first, units),
            format_mass(first.mass, units),
            format_volume(first.volume, units),
        );
    }
    let nearest = sized
        .answer
        .nearest
        .as_ref()
        .map_or_else(String::new, |found| {
            format!(
                "; closest: {}: fails {}",
                sized.in_words(found, units),
                failing(sized, found, units)
            )
        });
    format!(
        "{FAIL}FAIL{FAIL:#}  {name}: nothing looked at meets every requirement{nearest}{stopped}"
    )
}

/// The requirement a candidate misses most.
fn failing(sized: &Sized<'_>, found: &Assessment, units: UnitSystem) -> String {
    if let Some(reason) = &found.refusal {
        return reason.clone();
    }
    found
        .failures()
        .min_by(|a, b| a.margin.total_cmp(&b.margin))
        .map_or_else(String::new, |check| sized.check(check, units))
}

/// "99.5 % (97.2-99.9 %, 199 of 200 trials, cold (-8.0 degC))".
fn shown_chance(sized: &Sized<'_>, chance: &Chance, units: UnitSystem) -> String {
    format!(
        "{} ({} to {}, {} of {} trials, {})",
        format_percent(chance.share()),
        format_percent(chance.low),
        format_percent(chance.high),
        chance.successes,
        chance.trials,
        sized.case(chance.case, units)
    )
}

fn best(out: &mut String, sized: &Sized<'_>, units: UnitSystem) {
    let aims: Vec<&str> = sized.plan().aims.iter().map(|aim| aim.name()).collect();
    heading(out, &format!("Best by {}", aims.join(" against ")));
    let cases: Vec<Case> = sized.plan().cases().iter().map(|(case, _)| *case).collect();
    let mut head = vec![String::new()];
    if let Some(first) = sized.answer.best.first() {
        let chosen = sized.workshop.chosen(&first.candidate, units);
        head.extend(chosen.into_iter().map(|(name, _)| name));
    }
    head.extend(["mass", "volume"].map(str::to_owned));
    head.extend(cases.iter().map(|case| format!("margin {}", case.name())));
    head.extend(["chance, worst", "95 %", "limited by"].map(str::to_owned));
    let mut rows = vec![head];
    for (number, found) in sized.answer.best.iter().enumerate() {
        let mut row = vec![(number + 1).to_string()];
        let chosen = sized.workshop.chosen(&found.candidate, units);
        row.extend(chosen.into_iter().map(|(_, option)| option));
        row.push(format_mass(found.mass, units));
        row.push(format_volume(found.volume, units));
        row.extend(cases.iter().map(|case| {
            found
                .margin_at(*case)
                .map_or_else(|| "-".to_owned(), signed)
        }));
        match found.worst_chance() {
            Some(chance) => {
                row.push(format_percent(chance.share()));
                let (low, high) = (format_percent(chance.low), format_percent(chance.high));
                row.push(format!("{low} to {high}"));
            }
            None => row.extend(["-".to_owned(), "-".to_owned()]),
        }
        row.push(found.closest().map_or_else(String::new, |check| {
            format!("{}, {}", check.requirement.label(), check.case.name())
        }));
        rows.push(row);
    }
    columns(out, &rows);
    hardly_more(out, sized, units);
}

/// Difference of mass or volume that nobody weighs or measures [1].
const HARDLY: f64 = 1e-3;

/// What has clearly more margin than the first and is hardly heavier or larger, such as one more pin.
fn hardly_more(out: &mut String, sized: &Sized<'_>, units: UnitSystem) {
    let best = &sized.answer.best;
    let (Some(first), [aim]) = (best.first(), sized.plan().aims.as_slice()) else {
        return;
    };
    if !matches!(aim, Aim::LeastMass | Aim::LeastVolume) {
        return;
    }
    let size = |found: &Assessment| found.objective(*aim);
    let rest = best.iter().enumerate().skip(1);
    let alike = rest.filter(|(_, found)| size(found) <= (1.0 + HARDLY) * size(first));
    let better = alike.filter(|(_, found)| found.margin() > first.margin() + 0.01);
    // Of those with the same margin, what comes first.
    let most = better.reduce(|most, next| {
        if next.1.margin() > most.1.margin() + 1e-6 {
            next
        } else {
            most
        }
    });
    let Some((place, found)) = most else {
        return;
    };
    let more = size(found) - size(first);
    let more = match aim {
        Aim::LeastVolume => format!("{} larger", format_volume(more, units)),
        _ => format!("{} heavier", format_mass(more, units)),
    };
    let line = format!(
        "Row {} is only {more} than the first and has a least margin of {}, {}.",
        place + 1,
        signed(found.margin()),
        sized.in_words(found, units)
    );
    bullet(out, "  - ", &line);
}

/// Every requirement of the best at every temperature.
fn margins(out: &mut String, sized: &Sized<'_>, found: &Assessment, units: UnitSystem) {
    heading(out, "Margins of the first");
    let mut rows = vec![
        ["", "", "value", "limit", "margin"]
            .map(str::to_owned)
            .to_vec(),
    ];
    for check in &found.checks {
        if check.requirement == Requirement::Chance {
            continue;
        }
        let value = check.value.map_or_else(
            || "never".to_owned(),
            |value| crate::units::format(check.dimension, value, units),
        );
        let sense = match check.sense {
            crate::study::Sense::AtLeast => "at least",
            crate::study::Sense::AtMost => "at most",
        };
        let limit = crate::units::format(check.dimension, check.limit, units);
        rows.push(vec![
            sized.case(check.case, units),
            check.requirement.label(),
            value,
            format!("{sense} {limit}"),
            signed(check.margin),
        ]);
    }
    columns(out, &rows);
}

fn chances(out: &mut String, sized: &Sized<'_>, found: &Assessment, units: UnitSystem) {
    if found.chances.is_empty() {
        return;
    }
    heading(out, "Chance of the first");
    for chance in &found.chances {
        let mut line = shown_chance(sized, chance, units);
        let failed: Vec<String> = chance
            .failures
            .iter()
            .map(|(name, count)| {
                let kind = CriterionKind::from_name(name);
                let name = kind.map_or_else(|| name.clone(), |kind| kind.failure());
                format!("{name} ({count})")
            })
            .collect();
        if failed.is_empty() {
            line.push_str(": no failure among these trials, which is not certainty");
        } else {
            line.push_str(": what fails first is ");
            line.push_str(&failed.join(", "));
        }
        bullet(out, "  - ", &line);
    }
    let line = "The best was chosen on these very draws, which flatters it: look again with another \
                --seed before relying on it.";
    bullet(out, "  - ", line);
    if poor(found) {
        let line = "Every requirement is met by the expected values, and by too few of the draws around \
                    them: `--at-least 99%` looks for one that most draws meet.";
        bullet(out, "  - ", line);
    }
}

/// The continuous values of the best.
fn drill(out: &mut String, sized: &Sized<'_>, found: &Assessment, units: UnitSystem) {
    let plan = sized.plan();
    if plan.values.is_empty() {
        return;
    }
    heading(out, "What to drill and set");
    let values = plan.values.iter().zip(&found.candidate.points);
    let rows: Vec<Vec<String>> = values
        .map(|(value, point)| {
            vec![
                value.name.clone(),
                value.shown(*point, units),
                end(value, *point).unwrap_or_default().to_owned(),
            ]
        })
        .collect();
    columns(out, &rows);
}

/// Which of its bounds a value is at.
fn end(value: &OpenValue, point: u32) -> Option<&'static str> {
    match point {
        0 => Some("the least allowed"),
        point if point + 1 == value.points => Some("the most allowed"),
        _ => None,
    }
}

fn parts(out: &mut String, bill: &Bill, units: UnitSystem) {
    heading(
        out,
        "What to buy and build, and where its weight comes from",
    );
    let mut rows = Vec::new();
    for item in &bill.items {
        rows.push(vec![
            item.what.clone(),
            format_mass(item.mass, units),
            format_volume(item.volume, units),
            item.origin.split_whitespace().collect::<Vec<_>>().join(" "),
        ]);
    }
    rows.push(vec![
        "together".to_owned(),
        format_mass(bill.mass(), units),
        format_volume(bill.volume(), units),
        String::new(),
    ]);
    columns(out, &rows);
}

/// Vessels whose volume is open and whose shell weighs nothing: the mass does not say which volume is better.
fn weightless(out: &mut String, sized: &Sized<'_>, bill: &Bill) {
    for value in &sized.plan().values {
        let vessel = value.path.strip_prefix("vessels.");
        let Some(vessel) = vessel.and_then(|path| path.strip_suffix(".volume")) else {
            continue;
        };
        let shell = format!("shell of {vessel}");
        if bill
            .items
            .iter()
            .any(|item| item.what == shell && item.mass == 0.0)
        {
            let line = format!(
                "The mass leaves out the {shell}, however large its volume. Remedy: write its \
                 `wall: (material: ..., mass: ...)`, which then grows with the volume."
            );
            bullet(out, "  ! ", &line);
        }
    }
}

fn smaller(out: &mut String, sized: &Sized<'_>, units: UnitSystem) {
    let best = sized.answer.best.first();
    let charge = best.and_then(|best| sized.workshop.charge(&best.candidate.choices));
    if charge.is_none() || sized.answer.interrupted {
        return;
    }
    heading(out, "The next smaller charge");
    let Some(shortfall) = &sized.answer.next_smaller else {
        bullet(out, "  - ", "None was left open.");
        return;
    };
    let attempt = &shortfall.attempt;
    let words = sized.in_words(attempt, units);
    let charge = format_mass(shortfall.charge, units);
    if shortfall.passes {
        let line = format!(
            "{charge} of CO2 passes too, at best margin with {words}: {}, {}; by \
             the aim it is no better.",
            format_mass(attempt.mass, units),
            format_volume(attempt.volume, units)
        );
        bullet(out, "  - ", &line);
        return;
    }
    let line = format!("With {charge} of CO2 the closest is {words}.");
    bullet(out, "  - ", &line);
    failures(out, sized, attempt, units);
}

/// Everything a candidate misses, each on its line.
fn failures(out: &mut String, sized: &Sized<'_>, found: &Assessment, units: UnitSystem) {
    if let Some(reason) = &found.refusal {
        bullet(out, "  - ", reason);
    }
    for check in found.failures() {
        let line = format!(
            "It fails {} ({}).",
            sized.check(check, units),
            signed(check.margin)
        );
        bullet(out, "  - ", &line);
    }
}

fn front(out: &mut String, sized: &Sized<'_>, units: UnitSystem) {
    let (Some(first), Some(second)) = (sized.plan().aims.first(), sized.plan().aims.get(1)) else {
        return;
    };
    if sized.answer.front.is_empty() {
        return;
    }
    heading(
        out,
        &format!("Trade-off: {} against {}", first.name(), second.name()),
    );
    const MOST: usize = 20;
    let count = sized.answer.front.len();
    let stride = count.div_ceil(MOST);
    let rows: Vec<Vec<String>> = sized
        .answer
        .front
        .iter()
        .enumerate()
        .filter(|(index, _)| index % stride == 0 || index + 1 == count)
        .map(|(_, found)| {
            vec![
                objective(*first, found, units),
                objective(*second, found, units),
                sized.in_words(found, units),
            ]
        })
        .collect();
    columns(out, &rows);
}

fn blocked(out: &mut String, sized: &Sized<'_>, units: UnitSystem) {
    if let Some(nearest) = &sized.answer.nearest {
        heading(out, "What blocks");
        let line = format!("The closest is {}.", sized.in_words(nearest, units));
        bullet(out, "  - ", &line);
        failures(out, sized, nearest, units);
        let values = sized.plan().values.iter().zip(&nearest.candidate.points);
        let ends: Vec<String> = values
            .filter_map(|(value, point)| Some(format!("{} at {}", value.name, end(value, *point)?)))
            .collect();
        if !ends.is_empty() {
            let line = format!("It has {}: wider bounds may help.", ends.join(", "));
            bullet(out, "  - ", &line);
        }
    }
    heading(out, "What would open a solution");
    if sized.answer.relaxations.is_empty() {
        let line = if sized.answer.interrupted {
            "Not looked for: the search was stopped."
        } else {
            "No single requirement is enough: leave more open, widen the bounds, or relax several."
        };
        bullet(out, "  - ", line);
    }
    for relaxation in &sized.answer.relaxations {
        let check = &relaxation.check;
        let value = check.value.unwrap_or(check.limit);
        let line = format!(
            "{}: {} instead of {} ({}), with {}.",
            check.requirement.label(),
            crate::units::format(check.dimension, value, units),
            crate::units::format(check.dimension, check.limit, units),
            sized.case(check.case, units),
            sized.in_words(&relaxation.candidate, units)
        );
        bullet(out, "  - ", &line);
    }
    if sized.plan().at_least.is_some() && !sized.answer.relaxations.is_empty() {
        let line = "The chance under a relaxed requirement is for a new search to tell.";
        bullet(out, "  - ", line);
    }
}

fn account(out: &mut String, sized: &Sized<'_>) {
    let answer = sized.answer;
    let left_out = if answer.cells_left_out > 0 {
        format!(
            ", {} of them left out because even their least cannot beat those above",
            answer.cells_left_out
        )
    } else {
        String::new()
    };
    let _ = writeln!(
        out,
        "\nlooked at {} candidates in {} combinations of choices{left_out}; {} discharges",
        answer.candidates, answer.cells, answer.discharges
    );
}

/// One line on where a search stands.
#[must_use]
pub fn progress(progress: &Progress, aim: Aim, units: UnitSystem) -> String {
    let best = match (progress.best, aim) {
        (None, _) => "nothing passes yet".to_owned(),
        (Some(value), Aim::LeastMass) => format!("best {}", format_mass(value, units)),
        (Some(value), Aim::LeastVolume) => format!("best {}", format_volume(value, units)),
        (Some(value), _) => format!("best {} %", significant(-100.0 * value)),
    };
    format!(
        "{} of {} combinations, {} candidates, {} discharges, {best}",
        progress.cells_done, progress.cells, progress.candidates, progress.discharges
    )
}
