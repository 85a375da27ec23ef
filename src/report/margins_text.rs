//! A sweep as text: the answer, where it ends, the table of margins, the launch-day card.

use crate::study::CriterionKind;
use crate::study::margins::{ChanceEdge, Edge, MarginPoint, NominalEdge, Sweep, SweepPoint};
use crate::units::format_percent;

use super::margins::{
    MarginsReport, SweptValue, any_passes, card_word, headline, limit_interval, percent_of_limit,
    short,
};
use super::odds::{chance_in_short, interval};
use super::odds_text::CAUTION;
use super::terminal::{Detail, FAIL, PASS, bullet, columns, heading};

/// Most criteria that have a column of their own.
const COLUMNS: usize = 3;

/// The answer as text, first line first.
#[must_use]
pub fn text(report: MarginsReport<'_>, detail: Detail) -> String {
    let (style, word) = if any_passes(report.sweep) {
        (PASS, "PASS")
    } else {
        (FAIL, "FAIL")
    };
    let name = report.name;
    if let Some((second, sweeps)) = report.second {
        return two_ways(&report, second, sweeps, detail);
    }
    let headline = headline(&report);
    let mut out = format!("{style}{word}{style:#}  {name}: {headline}\n");
    if detail == Detail::Verdict {
        return out;
    }
    ends(&mut out, &report);
    table(&mut out, &report);
    card(&mut out, &report);
    notes(&mut out, &report);
    out
}

fn notes(out: &mut String, report: &MarginsReport<'_>) {
    heading(out, "How to read this");
    let all: u64 = match report.second {
        Some((_, sweeps)) => sweeps.iter().map(|(_, sweep)| sweep.trials).sum(),
        None => report.sweep.trials,
    };
    bullet(
        out,
        "  - ",
        &format!(
            "At most {} trials at each value, the same draws everywhere (seed {}); fewer where the \
             wanted chance is clearly reached or missed. {all} trials in all. Every interval holds \
             at 95 % however early its point stopped.",
            report.trials, report.seed
        ),
    );
    if !report.sweep.chance_edges.is_empty() {
        bullet(
            out,
            "  - ",
            "A trial that ends alike at two neighbouring values is taken to end alike between them; \
             at each limit of the chance all trials were run.",
        );
    }
    bullet(out, "  - ", CAUTION);
}

/// On which side of an edge what held to it ends.
fn side(edge: &Edge) -> &'static str {
    if edge.holds_below() { "above" } else { "below" }
}

/// "with central values the lowest shared.soak that passes is -8.1 degC: below it exit speed too low".
fn nominal_end(over: &SweptValue, found: &NominalEdge) -> String {
    let edge = &found.edge;
    let last = if edge.holds_below() {
        "highest"
    } else {
        "lowest"
    };
    let why = found.fails.as_ref().map_or_else(
        || "there is no valid or computable design".to_owned(),
        CriterionKind::failure,
    );
    format!(
        "with central values the {last} {} that passes is {}: {} it {why}",
        over.path,
        over.show_inside(edge),
        side(edge)
    )
}

fn chance_end(over: &SweptValue, found: &ChanceEdge, level: f64) -> String {
    let at = found.confirmed.map_or_else(String::new, |chance| {
        format!(
            " (there {}, 95 % interval {})",
            chance_in_short(&chance),
            interval(chance.low, chance.high)
        )
    });
    let mut text = format!(
        "the chance falls under {} {} {}{at}; 95 % interval of that limit: {}",
        format_percent(level),
        side(&found.edge),
        over.show_inside(&found.edge),
        limit_interval(over, found)
    );
    if found.sure.is_none() {
        text += ". These trials show the level nowhere on its good side: use more --trials";
    }
    text
}

fn ends(out: &mut String, report: &MarginsReport<'_>) {
    heading(out, "Where it ends");
    let sweep = report.sweep;
    for found in &sweep.nominal_edges {
        bullet(out, "  - ", &nominal_end(report.over, found));
    }
    for found in &sweep.chance_edges {
        bullet(out, "  - ", &chance_end(report.over, found, report.level));
    }
    if sweep.nominal_edges.is_empty() && sweep.chance_edges.is_empty() {
        bullet(out, "  - ", "nowhere in the range swept");
    }
}

fn chance_text(point: &SweepPoint) -> (String, String) {
    match point.chance {
        None => ("-".to_owned(), "-".to_owned()),
        Some(chance) => (chance_in_short(&chance), interval(chance.low, chance.high)),
    }
}

/// Smallest margin of a criterion over a sweep, trials included [1].
pub(super) fn smallest(sweep: &Sweep, kind: &CriterionKind) -> f64 {
    let of = |margin: &MarginPoint| {
        let low = margin.band.map_or(f64::INFINITY, |[low, _, _]| low);
        margin.nominal.map_or(low, |nominal| nominal.min(low))
    };
    sweep
        .points
        .iter()
        .flat_map(|point| &point.margins)
        .filter(|margin| margin.kind == *kind)
        .map(of)
        .fold(f64::INFINITY, f64::min)
}

/// Criteria of a sweep, the one that comes closest to its limit first.
#[must_use]
pub(super) fn by_closeness(sweep: &Sweep) -> Vec<(CriterionKind, f64)> {
    let judged = sweep.points.iter().find(|point| !point.margins.is_empty());
    let mut kinds: Vec<(CriterionKind, f64)> = judged
        .into_iter()
        .flat_map(|point| &point.margins)
        .map(|margin| (margin.kind.clone(), smallest(sweep, &margin.kind)))
        .collect();
    kinds.sort_by(|a, b| a.1.total_cmp(&b.1));
    kinds
}

fn table(out: &mut String, report: &MarginsReport<'_>) {
    heading(
        out,
        "Margins over their limits, central values (5 to 95 % of trials)",
    );
    let kinds = by_closeness(report.sweep);
    let shown = kinds.get(..COLUMNS.min(kinds.len())).unwrap_or_default();
    let mut head = vec![report.over.path.clone(), "chance".to_owned()];
    head.extend(shown.iter().map(|(kind, _)| short(kind)));
    let mut rows = vec![head];
    for point in &report.sweep.points {
        let mut row = vec![report.over.show(point.value), chance_text(point).0];
        if let Err(reason) = &point.nominal {
            row.push(first_sentence(reason));
        } else {
            let of =
                |kind: &CriterionKind| point.margins.iter().find(|margin| margin.kind == *kind);
            row.extend(
                shown
                    .iter()
                    .map(|(kind, _)| of(kind).map_or_else(String::new, cell)),
            );
        }
        rows.push(row);
    }
    columns(out, &rows);
    if let Some((kind, least)) = kinds.get(COLUMNS) {
        let text = format!(
            "other limits are further off: {} keeps {} or more",
            short(kind),
            percent_of_limit(*least)
        );
        bullet(out, "  ", &text);
    }
}

fn cell(margin: &MarginPoint) -> String {
    let nominal = margin.nominal.map_or("-".to_owned(), percent_of_limit);
    let band = margin.band.map_or(String::new(), |[low, _, high]| {
        format!(" ({:+.0} to {:+.0})", 100.0 * low, 100.0 * high)
    });
    nominal + &band
}

fn first_sentence(text: &str) -> String {
    text.split(['\n', ';']).next().unwrap_or(text).to_owned()
}

fn card(out: &mut String, report: &MarginsReport<'_>) {
    if !report.over.is_temperature {
        return;
    }
    heading(
        out,
        &format!(
            "Launch-day card: wanted chance {} (guidance, not a permission: range rules decide)",
            format_percent(report.level)
        ),
    );
    let mut rows = vec![
        [
            "temperature",
            "chance",
            "95 % interval",
            "trials",
            "central values",
            "closest limit",
            "",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    for point in &report.sweep.points {
        let (chance, limits) = chance_text(point);
        let passes = if point.passes() { "pass" } else { "fail" };
        let closest = point.closest().map_or_else(
            || "-".to_owned(),
            |(kind, margin)| format!("{} {}", short(kind), percent_of_limit(margin)),
        );
        rows.push(vec![
            report.over.show(point.value),
            chance,
            limits,
            point.trials.to_string(),
            passes.to_owned(),
            closest,
            card_word(point, report.level).to_owned(),
        ]);
    }
    columns(out, &rows);
}

fn two_ways(
    report: &MarginsReport<'_>,
    second: &SweptValue,
    sweeps: &[(f64, Sweep)],
    detail: Detail,
) -> String {
    let passing = sweeps.iter().filter(|(_, sweep)| any_passes(sweep)).count();
    let (style, word) = if passing > 0 {
        (PASS, "PASS")
    } else {
        (FAIL, "FAIL")
    };
    let all = |of: fn(&Sweep) -> usize| -> usize { sweeps.iter().map(|(_, s)| of(s)).sum() };
    let points = all(|sweep| sweep.points.len());
    let good = all(|sweep| sweep.points.iter().filter(|p| p.passes()).count());
    let reaching: usize = sweeps
        .iter()
        .flat_map(|(_, sweep)| &sweep.points)
        .filter(|point| point.chance.is_some_and(|c| c.estimate >= report.level))
        .count();
    let mut out = format!(
        "{style}{word}{style:#}  {}: {good} of {points} combinations of {} and {} pass with \
         central values, {reaching} with a chance of {} or more\n",
        report.name,
        report.over.path,
        second.path,
        format_percent(report.level)
    );
    if detail == Detail::Verdict {
        return out;
    }
    heading(&mut out, "Where it passes");
    let none = |text: String| {
        if text.is_empty() {
            "nowhere".to_owned()
        } else {
            text
        }
    };
    let level = format_percent(report.level);
    let mut rows = vec![vec![
        second.path.clone(),
        format!("{} that passes", report.over.path),
        format!("with a chance of {level}"),
    ]];
    for (value, sweep) in sweeps {
        rows.push(vec![
            second.show(*value),
            none(report.over.stretches(&sweep.passing())),
            none(report.over.stretches(&sweep.reaching(report.level))),
        ]);
    }
    columns(&mut out, &rows);
    heading(&mut out, "Chance of success");
    let mut head = vec![format!("{} \\ {}", second.path, report.over.path)];
    head.extend(
        report
            .sweep
            .points
            .iter()
            .map(|p| report.over.show(p.value)),
    );
    let mut rows = vec![head];
    for (value, sweep) in sweeps {
        let mut row = vec![second.show(*value)];
        row.extend(sweep.points.iter().map(|point| {
            let mark = if point.passes() { "" } else { " x" };
            format!("{}{mark}", chance_text(point).0)
        }));
        rows.push(row);
    }
    columns(&mut out, &rows);
    bullet(&mut out, "  ", "x: fails with central values");
    notes(&mut out, report);
    out
}
