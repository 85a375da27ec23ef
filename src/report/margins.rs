//! How margins and the chance move along a value of the design: what a report of it is made of, and
//! the sentences that text and picture share.

use crate::study::CriterionKind;
use crate::study::margins::{ChanceEdge, Edge, Stretch, Sweep, SweepPoint};
use crate::units::format_percent;

use super::axis::Axis;
use super::odds::Shown;

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
    /// Whether the design takes only whole numbers there.
    pub whole: bool,
    /// Whether it is a temperature, and the table one for the launch-day card.
    pub is_temperature: bool,
    /// Central value the design has without the sweep; `None` where it is not known in this unit.
    pub usual: Option<f64>,
}

impl SweptValue {
    /// Decimals that show a thousandth of the range: as good as any value is known.
    fn decimals(&self) -> i32 {
        if self.whole {
            return 0;
        }
        let step = (self.high - self.low).abs() / 1000.0;
        (-step.log10()).ceil().clamp(0.0, 6.0) as i32
    }

    /// The inner side of an edge, rounded towards the inside, so that what is written still holds.
    #[must_use]
    pub fn show_inside(&self, edge: &Edge) -> String {
        self.show(self.rounded(edge.inside, !edge.holds_below()))
    }

    /// The outer side of an edge, rounded away from it.
    #[must_use]
    pub fn show_outside(&self, edge: &Edge) -> String {
        self.show(self.rounded(edge.outside, edge.holds_below()))
    }

    fn rounded(&self, value: f64, up: bool) -> f64 {
        let scale = 10f64.powi(self.decimals());
        let scaled = value * scale;
        let whole = if (scaled - scaled.round()).abs() < 1e-6 {
            scaled.round()
        } else if up {
            scaled.ceil()
        } else {
            scaled.floor()
        };
        whole / scale
    }

    /// The value the design has, where it lies in the range.
    #[must_use]
    pub fn own_inside(&self) -> Option<f64> {
        self.usual
            .filter(|own| (self.low..=self.high).contains(own))
    }

    /// A value with its unit: "-7.3 degC".
    #[must_use]
    pub fn show(&self, value: f64) -> String {
        let decimals = self.decimals() as usize;
        let number = format!("{value:.decimals$}");
        // The ends and round values as people write them.
        let number = if number.contains('.') {
            number.trim_end_matches('0').trim_end_matches('.')
        } else {
            &number
        };
        let number = match number.strip_prefix('-') {
            Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest,
            _ => number,
        };
        format!("{number} {}", self.unit).trim_end().to_owned()
    }

    /// Round values along the range, about as many as asked for, between its ends; at most every whole number where
    /// only those are taken.
    #[must_use]
    pub fn round_values(&self, target: usize) -> Vec<f64> {
        let mut axis = Axis::new(self.low, self.high, 0.0, 1.0, target);
        if self.whole {
            axis.step = axis.step.max(1.0);
        }
        // A round value next to an end would tell nothing new.
        let apart = 0.3 * axis.step;
        let between = axis
            .ticks()
            .into_iter()
            .filter(|value| value - self.low > apart && self.high - value > apart);
        [self.low]
            .into_iter()
            .chain(between)
            .chain([self.high])
            .collect()
    }

    /// "10.3 K" for a difference of two values.
    #[must_use]
    pub fn show_difference(&self, difference: f64) -> String {
        let shown = self.show(difference.abs());
        match shown.strip_suffix("degC") {
            Some(number) => format!("{number}K"),
            None => shown,
        }
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
            Some(edge) => self.show_inside(&edge),
            None => format!("{} (start of the range)", self.show(self.low)),
        };
        let to = match stretch.to {
            Some(edge) => self.show_inside(&edge),
            None => format!("{} (end of the range)", self.show(self.high)),
        };
        format!("from {from} to {to}")
    }

    pub(super) fn stretches(&self, stretches: &[Stretch]) -> String {
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

/// The answer in one line: where the chance is reached and how well that is known, where central
/// values pass and by how much, and how far the design is from the limit.
#[must_use]
pub fn headline(report: &MarginsReport<'_>) -> String {
    headlines(report).join("; ")
}

/// The parts of [`headline`].
#[must_use]
pub fn headlines(report: &MarginsReport<'_>) -> Vec<String> {
    let over = report.over;
    let level = format_percent(report.level);
    let reaching = report.sweep.reaching(report.level);
    let chance = if reaching.is_empty() {
        format!(
            "the chance reaches {level} nowhere between {} and {} of {}",
            over.show(over.low),
            over.show(over.high),
            over.path
        )
    } else {
        let known: Vec<String> = report
            .sweep
            .chance_edges
            .iter()
            .map(|found| limit_interval(over, found))
            .collect();
        let known = match known.as_slice() {
            [] => String::new(),
            [one] => format!(" (95 % interval of that limit: {one})"),
            several => format!(" (95 % intervals of those limits: {})", several.join(", ")),
        };
        format!(
            "chance {level} or more with {} {}{known}",
            over.path,
            over.stretches(&reaching)
        )
    };
    let passing = report.sweep.passing();
    let nominal = match passing.as_slice() {
        [] => "central values pass nowhere in it".to_owned(),
        [
            Stretch {
                from: None,
                to: None,
            },
        ] => "central values pass throughout".to_owned(),
        several => format!("central values pass {}", over.stretches(several)),
    };
    let closest = closest(report.sweep).map_or_else(String::new, |(value, kind, margin)| {
        format!(
            ", smallest margin {} ({}) at {}",
            percent_of_limit(margin),
            short(kind),
            over.show(value)
        )
    });
    let mut parts = vec![chance, nominal + &closest];
    parts.extend(distance(report));
    parts
}

/// Margin over a limit: "+19 %".
#[must_use]
pub(super) fn percent_of_limit(margin: f64) -> String {
    format!("{:+.0} %", 100.0 * margin)
}

/// "-9.1 degC to -0.2 degC" for where the chance falls under the level.
pub(super) fn limit_interval(over: &SweptValue, found: &ChanceEdge) -> String {
    let sure = found.sure.map(|edge| over.show_inside(&edge));
    let lost = found.lost.map(|edge| over.show_outside(&edge));
    let beyond = || "beyond the range".to_owned();
    let ends = (sure.unwrap_or_else(beyond), lost.unwrap_or_else(beyond));
    let (from, to) = if found.edge.holds_below() {
        ends
    } else {
        (ends.1, ends.0)
    };
    format!("{from} to {to}")
}

/// Where central values come closest to a limit: the value, the criterion, the margin [1].
fn closest(sweep: &Sweep) -> Option<(f64, &CriterionKind, f64)> {
    sweep
        .points
        .iter()
        .filter_map(|point| {
            let (kind, margin) = point.closest()?;
            Some((point.value, kind, margin))
        })
        .min_by(|a, b| a.2.total_cmp(&b.2))
}

/// How far the design's own value is from the nearest limit of the chance.
fn distance(report: &MarginsReport<'_>) -> Option<String> {
    let over = report.over;
    let usual = over.usual?;
    let edges = report.sweep.chance_edges.iter().map(|found| found.edge);
    let edge = edges.min_by(|a, b| {
        let from = |edge: &Edge| (edge.inside - usual).abs();
        from(a).total_cmp(&from(b))
    })?;
    let held = if edge.holds_below() {
        usual <= edge.inside
    } else {
        usual >= edge.inside
    };
    let side = if held { "inside" } else { "outside" };
    let apart = over.rounded(edge.inside, !edge.holds_below()) - usual;
    let place = if apart.abs() < 0.5 * 10f64.powi(-over.decimals()) {
        "at".to_owned()
    } else {
        format!("{} {side}", over.show_difference(apart))
    };
    Some(format!(
        "the design's own {} lies {place} that limit",
        over.show(usual)
    ))
}
