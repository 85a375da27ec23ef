//! A sweep: its points, and between them the ends.

use rayon::prelude::*;

use crate::statistics::{StatisticsError, percentile};
use crate::study::chance::Chance;
use crate::study::criterion::CriterionKind;
use crate::study::trial::{Campaign, Finding, Observer};

use super::columns::Column;
use super::looks::{Look, looks};
use super::{BAND, Family, MarginPoint, RESOLUTION, Setup, Sweep, SweepPoint, SweepSettings};

/// Sweeps a family along its number.
///
/// # Errors
/// Trials that the sampler does not serve, or a wanted level outside (0, 1).
pub fn sweep<F, O>(
    family: &F,
    settings: &SweepSettings,
    observer: &O,
) -> Result<Sweep, StatisticsError>
where
    F: Family + ?Sized,
    O: Observer + ?Sized,
{
    let mut values = settings.values.clone();
    values.sort_by(f64::total_cmp);
    values.dedup();
    let looks = looks(settings.trials, settings.level, settings.method)?;
    let width = match values.as_slice() {
        _ if settings.whole => 1.0,
        [first, .., last] => RESOLUTION * (last - first),
        _ => 0.0,
    };
    let mut searcher = Searcher {
        family,
        settings,
        observer,
        columns: Vec::new(),
        width,
        trials: 0,
    };
    let nominals: Vec<_> = values
        .par_iter()
        .map(|value| nominal(&family.at(*value)))
        .collect();
    let mut points = Vec::with_capacity(values.len());
    for (value, nominal) in values.into_iter().zip(nominals) {
        points.push(searcher.point(value, nominal, &looks)?);
    }
    let mut nominal_edges = Vec::new();
    let mut chance_edges = Vec::new();
    let mut between = Vec::new();
    for pair in points.windows(2) {
        let [left, right] = pair else { continue };
        if left.passes() != right.passes() {
            let (edge, tried) = searcher.nominal_edge(left, right);
            nominal_edges.push(edge);
            if settings.at_limits {
                between.extend(tried);
            }
        }
        if let Some(level) = settings.level {
            let holds = |point: &SweepPoint| point.chance.is_some_and(|c| c.estimate >= level);
            if holds(left) != holds(right) {
                chance_edges.push(searcher.chance_edge(&points, left, right, level)?);
            }
        }
    }
    if settings.at_limits {
        let edges = chance_edges.iter().map(|found| found.edge);
        for value in edges.flat_map(|edge| [edge.inside, edge.outside]) {
            searcher.look_at(value, &points, &mut between, None)?;
        }
    }
    // A value written in another unit may miss one asked for by round-off.
    let asked = |value: f64| {
        points
            .iter()
            .any(|p| (p.value - value).abs() < 1e-3 * searcher.width)
    };
    if let Some(value) = settings.usual.filter(|value| !asked(*value)) {
        searcher.look_at(value, &points, &mut between, Some(&looks))?;
    }
    between.sort_by(|a, b| a.value.total_cmp(&b.value));
    Ok(Sweep {
        points,
        between,
        nominal_edges,
        chance_edges,
        trials: searcher.trials,
    })
}

/// The design with central values.
pub(super) fn nominal(setup: &Result<Setup, String>) -> Result<Finding, String> {
    let setup = setup.as_ref().map_err(Clone::clone)?;
    setup
        .nominal
        .run(&setup.inputs.central())
        .map_err(|error| error.to_string())
}

pub(super) struct Searcher<'a, F: ?Sized, O: ?Sized> {
    pub(super) family: &'a F,
    pub(super) settings: &'a SweepSettings,
    pub(super) observer: &'a O,
    /// What is known of the trials, by ascending value; only where there is a valid design.
    pub(super) columns: Vec<Column>,
    /// Width to which ends are narrowed, in the unit of the value.
    pub(super) width: f64,
    pub(super) trials: u64,
}

impl<F: Family + ?Sized, O: Observer + ?Sized> Searcher<'_, F, O> {
    /// Place of the column at a value; `None` where there is no valid design.
    pub(super) fn column(&mut self, value: f64) -> Result<Option<usize>, StatisticsError> {
        let place = self.columns.partition_point(|column| column.value < value);
        if self.columns.get(place).is_some_and(|c| c.value == value) {
            return Ok(Some(place));
        }
        let Ok(setup) = self.family.at(value) else {
            return Ok(None);
        };
        let settings = self.settings;
        let campaign = Campaign::new(
            setup.inputs.clone(),
            settings.method,
            settings.seed,
            settings.trials,
        )?;
        self.columns
            .insert(place, Column::new(value, setup, campaign));
        Ok(Some(place))
    }

    fn point(
        &mut self,
        value: f64,
        nominal: Result<Finding, String>,
        looks: &[Look],
    ) -> Result<SweepPoint, StatisticsError> {
        let place = self.column(value)?;
        let Some(column) = place.and_then(|place| self.columns.get_mut(place)) else {
            return Ok(SweepPoint {
                value,
                nominal,
                chance: None,
                trials: 0,
                not_computed: 0,
                margins: Vec::new(),
            });
        };
        let mut chance = None;
        let mut done = 0;
        for look in looks {
            let indices: Vec<usize> = (done..look.trials as usize).collect();
            done = look.trials as usize;
            column.run(&indices, self.observer)?;
            let found = column.chance_of_run(look.confidence)?;
            chance = Some(found);
            let decided = |level: f64| found.low >= level || found.high < level;
            if self.settings.level.is_some_and(decided) {
                break;
            }
        }
        self.trials += done as u64;
        Ok(point_of(column, nominal, chance))
    }

    /// One more point where there is none with a chance yet: with every trial, or with as many as some looks need
    /// where none was run before (those that were are the ones likely to change).
    fn look_at(
        &mut self,
        value: f64,
        points: &[SweepPoint],
        between: &mut Vec<SweepPoint>,
        looks: Option<&[Look]>,
    ) -> Result<(), StatisticsError> {
        let known = |p: &SweepPoint| p.value == value && p.chance.is_some();
        if points.iter().any(|p| p.value == value) || between.iter().any(known) {
            return Ok(());
        }
        let central = nominal(&self.family.at(value));
        let fresh = !self.columns.iter().any(|column| column.value == value);
        let point = match looks.filter(|_| fresh) {
            Some(looks) => self.point(value, central, looks)?,
            None => {
                let chance = self.confirm(value)?;
                let place = self.column(value)?;
                let column = place.and_then(|place| self.columns.get_mut(place));
                let Some(column) = column else { return Ok(()) };
                point_of(column, central, chance)
            }
        };
        between.retain(|p| p.value != value);
        between.push(point);
        Ok(())
    }

    /// Runs trials of the column at a place.
    pub(super) fn run(&mut self, place: usize, indices: &[usize]) -> Result<(), StatisticsError> {
        if let Some(column) = self.columns.get_mut(place) {
            column.run(indices, self.observer)?;
            self.trials += indices.len() as u64;
        }
        Ok(())
    }
}

/// The point that a column makes.
fn point_of(
    column: &mut Column,
    nominal: Result<Finding, String>,
    chance: Option<Chance>,
) -> SweepPoint {
    let margins = kinds(column.setup(), &nominal)
        .into_iter()
        .enumerate()
        .map(|(place, kind)| MarginPoint {
            kind,
            nominal: central_margin(&nominal, place),
            band: band(column.margins(place)),
        })
        .collect();
    column.forget_margins();
    let (trials, not_computed) = column.counts();
    SweepPoint {
        value: column.value,
        nominal,
        chance,
        trials,
        not_computed,
        margins,
    }
}

/// The point that central values alone make.
pub(super) fn central_point(value: f64, nominal: Result<Finding, String>) -> SweepPoint {
    let criteria = nominal.iter().flat_map(|finding| &finding.criteria);
    let margins = criteria
        .enumerate()
        .map(|(place, criterion)| MarginPoint {
            kind: criterion.kind.clone(),
            nominal: central_margin(&nominal, place),
            band: None,
        })
        .collect();
    SweepPoint {
        value,
        nominal,
        chance: None,
        trials: 0,
        not_computed: 0,
        margins,
    }
}

fn central_margin(nominal: &Result<Finding, String>, criterion: usize) -> Option<f64> {
    let finding = nominal.as_ref().ok()?;
    finding.margins.get(criterion).copied().flatten()
}

/// Criteria of a design: from its nominal result, or from the first trial that has one.
fn kinds(setup: &Setup, nominal: &Result<Finding, String>) -> Vec<CriterionKind> {
    let of = |finding: &Finding| finding.criteria.iter().map(|c| c.kind.clone()).collect();
    match nominal {
        Ok(finding) => of(finding),
        Err(_) => setup
            .experiment
            .run(&setup.inputs.at_normal(&vec![0.0; setup.inputs.len()]))
            .map(|finding| of(&finding))
            .unwrap_or_default(),
    }
}

fn band(margins: &[f64]) -> Option<[f64; 3]> {
    let mut sorted: Vec<f64> = margins.iter().copied().filter(|m| m.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    (!sorted.is_empty()).then(|| BAND.map(|p| percentile::of_sorted(&sorted, p)))
}
