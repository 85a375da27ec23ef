//! How margins and the chance move along a value of the design: sentences and text.

use crate::study::CriterionKind;
use crate::study::margins::{ChanceEdge, NominalEdge, Stretch, Sweep, SweepPoint};
use crate::units::format_percent;

use super::odds::{Shown, chance_in_short, interval};
use super::odds_text::CAUTION;
use super::terminal::{Detail, FAIL, PASS, bullet, columns, heading};

/// One value that is swept, in the unit it was asked for in.
#[derive(Debug, Clone, PartialEq)]
pub struct SweptValue {
    /// Where it is written in the design.
    pub path: String,
    /// First value.
    pub low: f64,
    /// Last value.
    pub high: f64,
    /// Its unit; empty for a plain number.
    pub unit: String,
    /// Whether it is a temperature, and the table one for the launch-day card.
    pub is_temperature: bool,
}

impl SweptValue {
    /// A value with its unit: "-7.3 degC".
    #[must_use]
    pub fn show(&self, value: f64) -> String {
        // A thousandth of the range is as good as any value is known.
        let step = (self.high - self.low).abs() / 1000.0;
        let decimals = (-step.log10()).ceil().clamp(0.0, 6.0) as usize;
        let number = format!("{value:.decimals$}");
        let number = match number.strip_prefix('-') {
            Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest,
            _ => &number,
        };
        format!("{number} {}", self.unit).trim_end().to_owned()
    }

    /// "site.temperature [degC]".
    #[must_use]
    pub fn axis(&self) -> String {
        if self.unit.is_empty() {
            self.path.clone()
        } else {
            format!("{} [{}]", self.path, self.unit)
        }
    }

    /// "from -8.1 degC to 21.0 degC, the end of the range".
    fn stretch(&self, stretch: &Stretch) -> String {
        let from = match stretch.from {
            Some(edge) => self.show(edge.inside),
            None => format!(
                "{} (start of the range)",
                self.show(self.low.min(self.high))
            ),
        };
        let to = match stretch.to {
            Some(edge) => self.show(edge.inside),
            None => format!("{} (end of the range)", self.show(self.low.max(self.high))),
        };
        format!("from {from} to {to}")
    }

    fn stretches(&self, stretches: &[Stretch]) -> String {
        let all: Vec<String> = stretches.iter().map(|s| self.stretch(s)).collect();
        all.join(" and ")
    }
}

/// Everything a report of a sweep shows.
#[derive(Debug, Clone, Copy)]
pub struct MarginsReport<'a> {
    /// Name of the design.
    pub name: &'a str,
    /// The value swept.
    pub over: &'a SweptValue,
    /// A second one with the sweeps at each of its values, ascending.
    pub second: Option<(&'a SweptValue, &'a [(f64, Sweep)])>,
    /// The sweep; with a second value, the one at its first value.
    pub sweep: &'a Sweep,
    /// Level of chance asked for, or the customary one.
    pub level: f64,
    /// Trials at each point.
    pub trials: u64,
    /// Seed of the trials.
    pub seed: u64,
}

/// Chance of success below which the launch-day card says no-go when nobody says otherwise.
pub const CUSTOMARY_LEVEL: f64 = 0.95;

/// What the launch-day card says: guidance, never a permission.
#[must_use]
pub fn card_word(point: &SweepPoint, level: f64) -> &'static str {
    match point.chance {
        None => "no-go",
        Some(_) if !point.passes() => "no-go",
        Some(chance) => match Shown::of(&chance, level) {
            Shown::Yes => "go",
            Shown::No => "no-go",
            Shown::Open => "doubtful",
        },
    }
}

/// Whether any part of the range passes (and reaches the level, if one was asked for).
#[must_use]
pub fn any_passes(sweep: &Sweep) -> bool {
    sweep.points.iter().any(SweepPoint::passes)
}

/// A name of a criterion that fits above a column or beside a panel.
#[must_use]
pub(super) fn short(kind: &CriterionKind) -> String {
    let name = match kind {
        CriterionKind::RetentionFactor => "force over retention".to_owned(),
        CriterionKind::ExitSpeedLeast => "exit speed, least".to_owned(),
        CriterionKind::ExitSpeedMost => "exit speed, greatest".to_owned(),
        other => other.label(),
    };
    const MOST: usize = 22;
    if name.chars().count() <= MOST {
        return name;
    }
    name.chars().take(MOST - 3).chain("...".chars()).collect()
}

/// The answer in one line.
#[must_use]
pub fn headline(report: &MarginsReport<'_>) -> String {
    let over = report.over;
    let passing = report.sweep.passing();
    let nominal = if passing.is_empty() {
        format!(
            "no value of {} between {} and {} passes with central values",
            over.path,
            over.show(over.low),
            over.show(over.high)
        )
    } else {
        format!("passes with {} {}", over.path, over.stretches(&passing))
    };
    let level = format_percent(report.level);
    let reaching = report.sweep.reaching(report.level);
    let chance = if reaching.is_empty() {
        format!("the chance reaches {level} nowhere in it")
    } else {
        format!("chance {level} or more {}", over.stretches(&reaching))
    };
    format!("{nominal}; {chance}")
}

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
    bullet(
        out,
        "  - ",
        &format!(
            "{} trials at each value, the same draws everywhere (seed {}), {} discharges in all; \
             ends were found by bracketing. Intervals are exact binomial ones at 95 %.",
            report.trials, report.seed, report.sweep.runs
        ),
    );
    bullet(out, "  - ", CAUTION);
}

/// "last passes at -8.1 degC, fails at -8.2 degC: exit speed too low".
fn nominal_end(over: &SweptValue, found: &NominalEdge) -> String {
    let why = found.fails.as_ref().map_or_else(
        || "beyond it there is no valid or computable design".to_owned(),
        |kind| format!("beyond it {}", kind.failure()),
    );
    format!(
        "with central values the last {} that passes is {}: {why}",
        over.path,
        over.show(found.edge.inside)
    )
}

fn chance_end(over: &SweptValue, found: &ChanceEdge, level: f64) -> String {
    let level = format_percent(level);
    let sure = found.sure.map_or_else(
        || format!("these trials show {level} nowhere in the range"),
        |edge| {
            format!(
                "it is shown to be above as far as {}",
                over.show(edge.inside)
            )
        },
    );
    let lost = found.lost.map_or_else(
        || "nowhere in the range to be below".to_owned(),
        |edge| format!("to be below from {}", over.show(edge.outside)),
    );
    format!(
        "the chance falls under {level} at {}; {sure}, and {lost}",
        over.show(found.edge.outside)
    )
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

fn table(out: &mut String, report: &MarginsReport<'_>) {
    heading(
        out,
        "Margins over their limits, central values (5 to 95 % of trials)",
    );
    let kinds = report
        .sweep
        .points
        .iter()
        .find(|point| !point.margins.is_empty())
        .map(|point| &point.margins);
    let mut head = vec![report.over.path.clone(), "chance".to_owned()];
    head.extend(kinds.into_iter().flatten().map(|m| short(&m.kind)));
    let mut rows = vec![head];
    for point in &report.sweep.points {
        let mut row = vec![report.over.show(point.value), chance_text(point).0];
        if let Err(reason) = &point.nominal {
            row.push(first_sentence(reason));
        }
        row.extend(point.margins.iter().map(|margin| {
            let nominal = margin
                .nominal
                .map_or("-".to_owned(), |m| format!("{:+.0} %", 100.0 * m));
            let band = margin.band.map_or(String::new(), |[low, _, high]| {
                format!(" ({:+.0} to {:+.0})", 100.0 * low, 100.0 * high)
            });
            nominal + &band
        }));
        rows.push(row);
    }
    columns(out, &rows);
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
            "Launch-day card: wanted chance {} (guidance, not a permission)",
            format_percent(report.level)
        ),
    );
    let mut rows = vec![
        [
            "temperature",
            "chance",
            "95 % interval",
            "central values",
            "",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    for point in &report.sweep.points {
        let (chance, limits) = chance_text(point);
        let passes = if point.passes() { "pass" } else { "fail" };
        rows.push(vec![
            report.over.show(point.value),
            chance,
            limits,
            passes.to_owned(),
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
