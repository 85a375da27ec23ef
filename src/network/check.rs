//! Whether a specification contradicts itself, before anything is computed from it.

use crate::network::NetworkError;
use crate::network::spec::{Condensation, Draw, End, System};

/// Every number usable, every path between vessels that exist, condensation forbidden only where the
/// model has a solution.
pub(super) fn check(system: &System) -> Result<(), NetworkError> {
    let wrong = |what: &'static str, name: &str, reason: &str| {
        Err(NetworkError::Specification {
            what,
            name: name.to_owned(),
            reason: reason.to_owned(),
        })
    };
    let count = system.vessels.len();
    for v in &system.vessels {
        let numbers = [v.volume, v.co2_mass, v.air_mass, v.temperature];
        if numbers.iter().any(|x| !x.is_finite() || *x < 0.0) || v.volume <= 0.0 {
            return wrong(
                "volume, masses or temperature",
                &v.name,
                "must be positive and finite",
            );
        }
        if v.condensation == Condensation::Metastable && v.draw != Draw::Vapour {
            return wrong(
                "condensation",
                &v.name,
                "metastable vapour has no solution with liquid or mixed draw (vapour below 100 K); \
                 use equilibrium",
            );
        }
    }
    if let Some((nose, _)) = &system.nose
        && nose.retention_force() < 0.0
    {
        return wrong(
            "hold-down, pins and friction",
            "nose",
            "hold it with less than nothing: it would come off before any valve opens; a hold-down below zero \
             pulls at the nose, and a spring pushes",
        );
    }
    for p in &system.paths {
        for end in [p.from, p.to] {
            if let End::Vessel(i) = end
                && i >= count
            {
                return wrong("end", &p.name, "no such vessel");
            }
        }
        if p.from == p.to {
            return wrong("ends", &p.name, "both ends are the same");
        }
        if !(p.area >= 0.0 && p.area.is_finite() && p.discharge_coefficient > 0.0) {
            return wrong(
                "area or discharge coefficient",
                &p.name,
                "must be positive and finite",
            );
        }
        // Donors of liquid or snow do not end in a vessel that forbids condensation.
        if let (End::Vessel(a), End::Vessel(b)) = (p.from, p.to)
            && system.vessels[b].condensation == Condensation::Metastable
            && system.vessels[a].draw != Draw::Vapour
        {
            return wrong(
                "condensation",
                &system.vessels[b].name,
                "metastable vapour has no solution when liquid or mixed draw feeds it (vapour \
                 below 100 K); use equilibrium",
            );
        }
    }
    if let Some((nose, bay)) = &system.nose {
        if *bay >= count {
            return wrong("vessel", "nose", "no such vessel");
        }
        if let Err(error) = nose.validate() {
            return wrong("numbers", "nose", &error.to_string());
        }
    }
    if !(system.horizon > 0.0 && system.horizon.is_finite()) {
        return wrong("horizon", "system", "must be positive and finite");
    }
    Ok(())
}
