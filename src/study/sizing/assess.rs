//! One candidate, judged stage by stage: cheap before dear, and no further than it fails.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use crate::network::criteria::Criteria;
use crate::network::spec::System;
use crate::study::criterion::{Criterion, CriterionKind, Sense};
use crate::study::trial::{Finding, try_system};
use crate::units::Dimension;

use super::assessment::{Assessment, Check, Requirement, Stage};
use super::chance::chance;
use super::problem::{Article, Candidate, Case, Needs, Workshop};
use super::screen;

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
