//! The climb: does what is trapped in the bay push the nose off before anyone asked for it.

use crate::discharge::Extent;
use crate::discharge::{Settings, run};
use crate::network::atmosphere::standard_air;
use crate::network::spec::{Ambient, End, System};

/// A climb with the bay shut but for its leaks and vents.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climb {
    /// Altitude at which the bay was closed [m].
    pub pad: f64,
    /// Altitude of the separation [m].
    pub top: f64,
    /// Time from the pad to there [s].
    pub time: f64,
    /// Other force that pulls the nose off on the way, drag after burnout [N].
    pub pull: f64,
    /// Least ratio of the pins' strength to what pulls on them [1].
    pub factor: f64,
}

/// Samples of the falling pressure outside.
const SAMPLES: u32 = 40;

impl Climb {
    /// Strength of the pins over the greatest force that pulls on them [1].
    ///
    /// Law: the bay starts at the pressure of the pad and leaks through its leaks and vents
    /// while the standard atmosphere outside follows z = z0 + (z1 - z0)(2 s - s^2), s = t/t1,
    /// a climb at constant deceleration; the force is the largest pressure difference on the
    /// bore, nose held, plus the pull and the push of the seated separation spring. Friction and
    /// hold-down are not counted on. Symbols: z altitude [m], t time [s].
    /// Assumption: the charge stays shut in; boost is steadier than its mean only near the pad,
    /// where the air changes least.
    ///
    /// `None` without a nose.
    ///
    /// # Errors
    /// What the discharge or the atmosphere refuses.
    pub fn pin_factor(&self, system: &System, settings: &Settings) -> Result<Option<f64>, String> {
        let Some((nose, bay)) = &system.nose else {
            return Ok(None);
        };
        let mut climb = self.shut(system, *bay)?;
        climb.horizon = self.time;
        let settings = Settings {
            hold_nose: true,
            extent: Extent::Horizon,
            // Small differences of pressure are what counts here.
            relative_tolerance: settings.relative_tolerance.min(1e-7),
            ..*settings
        };
        let discharge = run(&climb, &settings).map_err(|error| error.to_string())?;
        let series = discharge.trajectory.vessels.first();
        let force = discharge
            .trajectory
            .times
            .iter()
            .zip(series.map_or(&[][..], |series| &series.pressure))
            .map(|(time, pressure)| (pressure - climb.ambient.at(*time).0) * nose.area())
            .fold(0.0, f64::max);
        let pulling = force + self.pull + nose.spring_force(0.0);
        Ok(Some(if pulling > 0.0 {
            nose.pin_strength() / pulling
        } else {
            f64::INFINITY
        }))
    }

    /// The bay alone, at the pressure of the pad, with its openings to the outside.
    fn shut(&self, system: &System, bay: usize) -> Result<System, String> {
        let outside =
            |z: f64| standard_air(z).ok_or_else(|| format!("no standard atmosphere at {z} m"));
        let pad = outside(self.pad)?;
        let mut times = Vec::new();
        let mut pressures = Vec::new();
        let mut temperatures = Vec::new();
        for sample in 0..=SAMPLES {
            let share = f64::from(sample) / f64::from(SAMPLES);
            let air = outside(self.pad + (self.top - self.pad) * share * (2.0 - share))?;
            times.push(self.time * share);
            pressures.push(air.pressure);
            temperatures.push(air.temperature);
        }
        let mut vessel = system
            .vessels
            .get(bay)
            .cloned()
            .ok_or_else(|| "the nose closes no vessel".to_owned())?;
        let before = system.ambient.at(0.0).0;
        vessel.air_mass *= pad.pressure / before;
        let ends = [End::Vessel(bay), End::Ambient];
        let paths = system
            .paths
            .iter()
            .filter(|path| {
                ends.contains(&path.from)
                    && ends.contains(&path.to)
                    && matches!(path.command, crate::network::spec::Command::Always)
            })
            .cloned()
            .map(|mut path| {
                for end in [&mut path.from, &mut path.to] {
                    if *end == End::Vessel(bay) {
                        *end = End::Vessel(0);
                    }
                }
                path
            })
            .collect();
        Ok(System {
            vessels: vec![vessel],
            paths,
            ambient: Ambient {
                times,
                pressures,
                temperatures,
            },
            nose: system.nose.as_ref().map(|(nose, _)| (nose.clone(), 0)),
            horizon: self.time,
        })
    }
}
