//! A sweep: its points, and between them the ends.

use rayon::prelude::*;

use crate::statistics::{StatisticsError, percentile};
use crate::study::criterion::CriterionKind;
use crate::study::tally::{Record, Tally};
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
    for pair in points.windows(2) {
        let [left, right] = pair else { continue };
        if left.passes() != right.passes() {
            nominal_edges.push(searcher.nominal_edge(left, right));
        }
        if let Some(level) = settings.level {
            let holds = |point: &SweepPoint| point.chance.is_some_and(|c| c.estimate >= level);
            if holds(left) != holds(right) {
                chance_edges.push(searcher.chance_edge(&points, left, right, level)?);
            }
        }
    }
    Ok(Sweep {
        points,
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
        let kinds = kinds(column.setup(), &nominal);
        let mut tally = Tally::for_sampler(kinds, column.campaign().sampler());
        let mut chance = None;
        let mut done = 0;
        for look in looks {
            let indices: Vec<usize> = (done..look.trials as usize).collect();
            done = look.trials as usize;
            for trial in column.run(&indices, self.observer)? {
                tally.push(Record::from(trial));
            }
            let found = column.chance_of_run(look.confidence)?;
            chance = Some(found);
            let decided = |level: f64| found.low >= level || found.high < level;
            if self.settings.level.is_some_and(decided) {
                break;
            }
        }
        self.trials += done as u64;
        let margins = tally
            .criteria()
            .iter()
            .enumerate()
            .map(|(place, kind)| MarginPoint {
                kind: kind.clone(),
                nominal: nominal
                    .as_ref()
                    .ok()
                    .and_then(|finding| finding.margins.get(place).copied().flatten()),
                band: band(tally.margins(place)),
            })
            .collect();
        Ok(SweepPoint {
            value,
            nominal,
            chance,
            trials: done as u64,
            not_computed: tally.counts().not_computed,
            margins,
        })
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
