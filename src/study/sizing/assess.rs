//! One candidate, judged stage by stage: cheap before dear, and no further than it fails.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::study::criterion::{Criterion, CriterionKind, Sense};
use crate::study::trial::{Finding, try_system};
use crate::units::Dimension;

use super::chance::{Chance, chance};
use super::problem::{Aim, Article, Candidate, Case, Needs, Workshop};
use super::screen;

/// What a candidate must meet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Requirement {
    /// It can be built and computed at all.
    Possible,
    /// A criterion of the design.
    Criterion(CriterionKind),
    /// The pins hold on the climb.
    EarlySeparation,
    /// The chance of success.
    Chance,
}

impl Requirement {
    /// Name in data files.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Requirement::Possible => "possible".to_owned(),
            Requirement::Criterion(kind) => kind.name(),
            Requirement::EarlySeparation => "early_separation".to_owned(),
            Requirement::Chance => "chance".to_owned(),
        }
    }

    /// Name in sentences.
    #[must_use]
    pub fn label(&self) -> String {
        match self {
            Requirement::Possible => "a possible system".to_owned(),
            Requirement::Criterion(kind) => kind.label(),
            Requirement::EarlySeparation => "pins over their load on the climb".to_owned(),
            Requirement::Chance => "chance of success".to_owned(),
        }
    }
}

/// One requirement at one temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// What is judged.
    pub requirement: Requirement,
    /// At which temperature.
    pub case: Case,
    /// Value reached [SI]; `None` if it never came about.
    pub value: Option<f64>,
    /// Whether the value is a bound found without a discharge.
    pub bound: bool,
    /// Limit [SI].
    pub limit: f64,
    /// On which side of it the value must lie.
    pub sense: Sense,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// Distance from the limit over the limit, positive on the passing side [1]; where the value
    /// never came about, how far the nose was from leaving
    /// ([`shortfall`](crate::study::trial::shortfall)).
    pub margin: f64,
}

impl Check {
    fn new(
        requirement: Requirement,
        case: Case,
        value: f64,
        sense: Sense,
        limit: f64,
        dimension: Dimension,
    ) -> Self {
        let distance = match sense {
            Sense::AtLeast => value - limit,
            Sense::AtMost => limit - value,
        };
        Check {
            requirement,
            case,
            value: Some(value),
            bound: false,
            limit,
            sense,
            dimension,
            margin: distance / limit.abs().max(f64::MIN_POSITIVE),
        }
    }

    /// Whether it is met.
    #[must_use]
    pub fn pass(&self) -> bool {
        self.margin >= 0.0
    }
}

/// How far a candidate came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// It cannot be built or computed.
    Made,
    /// Bounds without any discharge.
    Screened,
    /// The nominal shot.
    Nominal,
    /// The cold shot.
    Cold,
    /// The hot shot.
    Hot,
    /// The climb.
    Climb,
    /// All but the chance, or nothing asked of the chance.
    Shots,
    /// The chance.
    Chance,
}

/// What is known about a candidate.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// The candidate.
    pub candidate: Candidate,
    /// Mass of everything bought or built [kg].
    pub mass: f64,
    /// Volume taken up [m3].
    pub volume: f64,
    /// Every check made, in the order of the stages.
    pub checks: Vec<Check>,
    /// Last stage looked at.
    pub stage: Stage,
    /// Chance at each end of the range, where it was looked at.
    pub chances: Vec<Chance>,
    /// Why it could not be made or computed.
    pub refusal: Option<String>,
}

impl Assessment {
    /// Smallest relative margin of the criteria and the climb [1], the chance left out.
    #[must_use]
    pub fn margin(&self) -> f64 {
        self.checks
            .iter()
            .filter(|check| check.requirement != Requirement::Chance)
            .map(|check| check.margin)
            .fold(f64::INFINITY, f64::min)
    }

    /// The check with the smallest margin.
    #[must_use]
    pub fn closest(&self) -> Option<&Check> {
        self.checks
            .iter()
            .filter(|check| check.requirement != Requirement::Chance && !check.bound)
            .min_by(|a, b| a.margin.total_cmp(&b.margin))
    }

    /// Smallest margin of a case [1]; `None` where it was not looked at.
    #[must_use]
    pub fn margin_at(&self, case: Case) -> Option<f64> {
        self.checks
            .iter()
            .filter(|check| check.case == case && !check.bound)
            .filter(|check| check.requirement != Requirement::Chance)
            .map(|check| check.margin)
            .reduce(f64::min)
    }

    /// Checks that are not met.
    pub fn failures(&self) -> impl Iterator<Item = &Check> {
        self.checks.iter().filter(|check| !check.pass())
    }

    /// Whether every check made is met.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.refusal.is_none() && self.checks.iter().all(Check::pass)
    }

    /// Whether it was looked at down to the chance, if one is asked for, and meets everything.
    #[must_use]
    pub fn meets(&self, needs: &Needs) -> bool {
        let last = if needs.at_least.is_some() {
            Stage::Chance
        } else {
            Stage::Shots
        };
        self.passes() && self.stage >= last
    }

    /// The chance at the worst temperature, where it was looked at.
    #[must_use]
    pub fn worst_chance(&self) -> Option<&Chance> {
        self.chances
            .iter()
            .min_by(|a, b| a.share().total_cmp(&b.share()))
    }

    /// How good it is in the sense of an aim: less is better.
    #[must_use]
    pub fn objective(&self, aim: Aim) -> f64 {
        match aim {
            Aim::LeastMass => self.mass,
            Aim::LeastVolume => self.volume,
            Aim::MostMargin => -self.margin(),
            Aim::MostChance => -self.worst_chance().map_or(0.0, Chance::share),
        }
    }
}

/// How far to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// No further than the first stage that fails, the chance left out.
    Shots,
    /// Every stage but the chance, failed or not.
    AllShots,
    /// The chance as well, unless an earlier stage fails.
    Chance,
}

/// Judges candidates and remembers what it found.
pub struct Assessor<'w> {
    workshop: &'w dyn Workshop,
    needs: &'w Needs,
    stop: &'w (dyn Fn() -> bool + Sync),
    known: Mutex<HashMap<Candidate, (Depth, Assessment)>>,
    discharges: AtomicU64,
}

impl<'w> Assessor<'w> {
    /// An assessor that knows nothing yet; `stop` is asked before every discharge.
    pub fn new(
        workshop: &'w dyn Workshop,
        needs: &'w Needs,
        stop: &'w (dyn Fn() -> bool + Sync),
    ) -> Self {
        Assessor {
            workshop,
            needs,
            stop,
            known: Mutex::new(HashMap::new()),
            discharges: AtomicU64::new(0),
        }
    }

    /// What is asked.
    #[must_use]
    pub fn needs(&self) -> &Needs {
        self.needs
    }

    /// Who makes the candidates.
    #[must_use]
    pub fn workshop(&self) -> &dyn Workshop {
        self.workshop
    }

    /// Whether to stop.
    #[must_use]
    pub fn stopped(&self) -> bool {
        (self.stop)()
    }

    /// Discharges computed so far.
    #[must_use]
    pub fn discharges(&self) -> u64 {
        self.discharges.load(Ordering::Relaxed)
    }

    /// Candidates looked at so far.
    #[must_use]
    pub fn candidates(&self) -> usize {
        self.lock().len()
    }

    /// Everything found so far, in a fixed order.
    #[must_use]
    pub fn all(&self) -> Vec<Assessment> {
        let mut all: Vec<Assessment> = self.lock().values().map(|(_, a)| a.clone()).collect();
        all.sort_by(|a, b| a.candidate.cmp(&b.candidate));
        all
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<Candidate, (Depth, Assessment)>> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Judges a candidate, or recalls what is known; `None` when told to stop.
    #[must_use]
    pub fn assess(&self, candidate: &Candidate, depth: Depth) -> Option<Assessment> {
        let known = self.lock().get(candidate).cloned();
        if let Some((known_depth, assessment)) = known {
            let whole = assessment.passes() || known_depth == Depth::AllShots;
            match depth {
                Depth::Shots => return Some(assessment),
                Depth::AllShots if whole => return Some(assessment),
                Depth::Chance if !assessment.passes() || assessment.stage == Stage::Chance => {
                    return Some(assessment);
                }
                _ => {}
            }
        }
        let assessment = self.judge(candidate, depth)?;
        let mut known = self.lock();
        known.insert(candidate.clone(), (depth, assessment.clone()));
        Some(assessment)
    }

    fn judge(&self, candidate: &Candidate, depth: Depth) -> Option<Assessment> {
        let mut found = Assessment {
            candidate: candidate.clone(),
            mass: f64::INFINITY,
            volume: f64::INFINITY,
            checks: Vec::new(),
            stage: Stage::Made,
            chances: Vec::new(),
            refusal: None,
        };
        let article = match self.workshop.make(candidate) {
            Ok(article) => article,
            Err(reason) => {
                found.refusal = Some(reason);
                return Some(found);
            }
        };
        found.mass = article.mass();
        found.volume = article.volume();
        let systems = match self.systems(article.as_ref()) {
            Ok(systems) => systems,
            Err(reason) => {
                found.refusal = Some(reason);
                return Some(found);
            }
        };
        if let Err(reason) = screen_all(&systems, &mut found) {
            found.refusal = Some(reason);
            return Some(found);
        }
        found.stage = Stage::Screened;
        let early = depth != Depth::AllShots;
        if early && !found.passes() {
            return Some(found);
        }
        for (case, system, criteria) in &systems {
            if self.stopped() {
                return None;
            }
            match self.shot(*case, system, criteria) {
                Ok(mut checks) => found.checks.append(&mut checks),
                Err(reason) => {
                    found.refusal = Some(format!("{} case: {reason}", case.name()));
                    return Some(found);
                }
            }
            found.stage = match case {
                Case::Nominal => Stage::Nominal,
                Case::Cold => Stage::Cold,
                Case::Hot => Stage::Hot,
            };
            if early && !found.passes() {
                return Some(found);
            }
        }
        if let Some(climb) = &self.needs.climb {
            // Pins are weakest warm, so the warmest case counts.
            let warmest = systems.last();
            if let Some((case, system, _)) = warmest {
                self.count(1);
                match climb.pin_factor(system, &self.needs.settings) {
                    Ok(None) => {}
                    Ok(Some(factor)) => found.checks.push(Check::new(
                        Requirement::EarlySeparation,
                        *case,
                        factor,
                        Sense::AtLeast,
                        climb.factor,
                        Dimension::Number,
                    )),
                    Err(reason) => {
                        found.refusal = Some(format!("the climb: {reason}"));
                        return Some(found);
                    }
                }
            }
            found.stage = Stage::Climb;
            if early && !found.passes() {
                return Some(found);
            }
        }
        found.stage = Stage::Shots;
        if depth == Depth::Chance && found.passes() {
            self.add_chance(article.as_ref(), &mut found)?;
        }
        Some(found)
    }

    fn systems(&self, article: &dyn Article) -> Result<Vec<(Case, System, Criteria)>, String> {
        self.needs
            .cases
            .iter()
            .map(|(case, temperature)| {
                let (system, criteria) = article
                    .central(*temperature)
                    .map_err(|reason| format!("{} case: {reason}", case.name()))?;
                Ok((*case, system, criteria))
            })
            .collect()
    }

    fn add_chance(&self, article: &dyn Article, found: &mut Assessment) -> Option<()> {
        for (case, temperature) in self.needs.chance_cases() {
            let draw = |index: u64| article.trial(temperature, self.needs.chance.seed, index);
            let result = chance(
                case,
                &draw,
                &|system, criteria| self.success(system, criteria),
                &self.needs.chance,
                self.needs.at_least,
                self.stop,
            )?;
            if let Some(wanted) = self.needs.at_least {
                found.checks.push(Check::new(
                    Requirement::Chance,
                    case,
                    result.low,
                    Sense::AtLeast,
                    wanted,
                    Dimension::Fraction,
                ));
            }
            let hopeless = result.stopped_early;
            found.chances.push(result);
            if hopeless {
                break;
            }
        }
        found.stage = Stage::Chance;
        Some(())
    }

    /// Whether one trial succeeds, and if not the name of what fails first.
    fn success(&self, system: &System, criteria: &Criteria) -> Result<Option<String>, String> {
        let finding = self.finding(system, criteria)?;
        let first = finding.first_failed();
        Ok(first
            .and_then(|first| finding.criteria.get(first))
            .map(Criterion::name))
    }

    /// The criteria of one shot.
    fn shot(&self, case: Case, system: &System, criteria: &Criteria) -> Result<Vec<Check>, String> {
        let finding = self.finding(system, criteria)?;
        let checks = finding.criteria.into_iter().zip(finding.margins);
        Ok(checks
            .map(|(criterion, margin)| Check {
                margin: margin.unwrap_or(if criterion.pass { 0.0 } else { -1.0 }),
                requirement: Requirement::Criterion(criterion.kind),
                case,
                value: criterion.value,
                bound: false,
                limit: criterion.limit,
                sense: criterion.sense,
                dimension: criterion.dimension,
            })
            .collect())
    }

    /// One discharge, and with the nose held where a criterion asks for it.
    fn finding(&self, system: &System, criteria: &Criteria) -> Result<Finding, String> {
        let held = system.nose.is_some() && criteria.retention_factor.is_some();
        self.count(if held { 2 } else { 1 });
        try_system(system, criteria, &self.needs.settings).map_err(|error| error.to_string())
    }

    /// Adds to the discharges computed.
    pub(super) fn count(&self, discharges: u64) {
        self.discharges.fetch_add(discharges, Ordering::Relaxed);
    }
}

/// Adds the checks that need no discharge, and only where they fail.
fn screen_all(systems: &[(Case, System, Criteria)], found: &mut Assessment) -> Result<(), String> {
    for (case, system, criteria) in systems {
        let mut add = |kind, value, sense, limit, dimension| {
            let requirement = Requirement::Criterion(kind);
            let mut check = Check::new(requirement, *case, value, sense, limit, dimension);
            check.bound = true;
            if !check.pass() {
                found.checks.push(check);
            }
        };
        for (vessel, pressure, rating) in screen::charges(system)? {
            let kind = CriterionKind::PressureRating { vessel };
            add(
                kind,
                pressure,
                Sense::AtMost,
                rating,
                Dimension::AbsolutePressure,
            );
        }
        if let Some((bound, limit)) = screen::retention_bound(system, criteria) {
            let kind = CriterionKind::RetentionFactor;
            add(kind, bound, Sense::AtLeast, limit, Dimension::Number);
        }
    }
    Ok(())
}
