//! The nose cone as a body on one axis: what holds it and what drives it.
//!
//! Motion is relative, nose against body, along the axis; friction, pins, spring, tether and
//! pressure act equally and oppositely on both, so in flight the pair moves as one body of the
//! reduced mass. No cocking of the coupler, no wave dynamics, no jet impingement; the bay
//! pressure keeps acting on the full bore while the gap opens, which flatters the exit speed
//! slightly.

use super::error::{MechanicsError, within};
use std::f64::consts::PI;

/// A nose closing a bay: everything that holds it and everything it does on leaving.
#[derive(Debug, Clone, PartialEq)]
pub struct Nose {
    /// Mass that leaves [kg].
    pub mass: f64,
    /// Mass it leaves from [kg]; `None` on a bench (fixed base).
    pub body_mass: Option<f64>,
    /// Bore on which the pressure acts [m].
    pub bore: f64,
    /// Length of the coupler that must slide out [m].
    pub engagement: f64,
    /// Shear pins.
    pub pins: Vec<Pin>,
    /// Static friction of seal and coupler [N].
    pub static_friction: f64,
    /// Kinetic friction of seal and coupler [N].
    pub kinetic_friction: f64,
    /// Other steady axial load on the nose, positive when it holds the nose on
    /// (aerodynamic or deceleration load; weight on a bench) [N]. In flight: the load the joint
    /// would carry with no pressure in the bay, pushing the two together, which is the reduced
    /// mass times the relative acceleration the bodies would have if let go.
    pub hold_down: f64,
    /// Separation spring.
    pub spring: Option<Spring>,
    /// Tether between nose and body.
    pub tether: Option<Tether>,
    /// Discharge coefficient of the opening gap.
    pub gap_discharge_coefficient: f64,
}

/// One shear pin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pin {
    /// Load at which it shears [N], at its temperature.
    pub strength: f64,
    /// Travel over which its force falls to zero after shearing [m].
    pub tear_length: f64,
}

/// A spring that pushes the nose off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spring {
    /// Force with the nose seated [N].
    pub force: f64,
    /// Travel at which it stops pushing [m].
    pub stroke: f64,
}

/// A tether as a spring and damper in tension.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tether {
    /// Nose travel at which it runs taut [m].
    pub length: f64,
    /// Stiffness [N/m].
    pub stiffness: f64,
    /// Damping [N s/m].
    pub damping: f64,
    /// Rated load [N].
    pub rating: Option<f64>,
}

/// One pin's part in the failure of a set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PinFailure {
    /// Index in [`Nose::pins`].
    pub pin: usize,
    /// Load on the whole set at which it goes [N].
    pub load: f64,
}

impl Nose {
    /// Area on which the pressure acts, pi D^2/4 [m2].
    pub fn area(&self) -> f64 {
        0.25 * PI * self.bore * self.bore
    }

    /// Reduced mass m1 m2/(m1 + m2) in flight, the nose's own mass on a bench [kg].
    pub fn reduced_mass(&self) -> f64 {
        match self.body_mass {
            Some(body) => self.mass * body / (self.mass + body),
            None => self.mass,
        }
    }

    /// Area of the gap once the coupler is out, pi D (x - L), at most the bore [m2]; 0 before.
    pub fn gap_area(&self, travel: f64) -> f64 {
        let gap = PI * self.bore * (travel - self.engagement);
        gap.clamp(0.0, self.area())
    }

    /// Travel at which the gap is as wide as the bore [m]: L + D/4.
    pub fn uncovered_travel(&self) -> f64 {
        self.engagement + 0.25 * self.bore
    }

    /// Volume the bay has gained, A x [m3].
    pub fn swept_volume(&self, travel: f64) -> f64 {
        self.area() * travel
    }

    /// Pressure force at which the latched nose leaves: pins, static friction and hold-down, less
    /// the push of the seated spring [N].
    pub fn retention_force(&self) -> f64 {
        self.pin_strength() + self.static_friction + self.hold_down - self.spring_force(0.0)
    }

    /// Steady force that still pulls the nose back once it is off the coupler [N]: on a bench its
    /// weight, so all of the hold-down; in flight none, because drag and the body's deceleration
    /// then act on two bodies apart, in a way nothing here knows.
    pub fn free_hold_down(&self) -> f64 {
        match self.body_mass {
            Some(_) => 0.0,
            None => self.hold_down,
        }
    }

    /// Bay pressure above ambient at which the latched nose leaves [Pa].
    pub fn retention_pressure(&self) -> f64 {
        self.retention_force() / self.area()
    }

    /// Force that drives the nose off: pressure difference on the bore, and the spring [N].
    ///
    /// Off the coupler the pressure loses its hold in proportion to the gap, until the gap is as
    /// wide as the bore and the bay blows past the nose (an assumption without a source; it sets the
    /// speed between clear and taut within a per cent or so).
    pub fn driving_force(&self, bay_pressure: f64, ambient_pressure: f64, travel: f64) -> f64 {
        let gap = self.gap_area(travel);
        self.force_past(gap, bay_pressure, ambient_pressure, travel)
    }

    /// [`Nose::driving_force`] with a gap [m2] of that much.
    pub(super) fn force_past(
        &self,
        gap: f64,
        bay_pressure: f64,
        ambient_pressure: f64,
        travel: f64,
    ) -> f64 {
        let covered = self.area() - gap;
        (bay_pressure - ambient_pressure) * covered + self.spring_force(travel)
    }

    /// Push of the separation spring, F0 (1 - x/s), 0 beyond its stroke s [N].
    pub fn spring_force(&self, travel: f64) -> f64 {
        match &self.spring {
            Some(spring) if travel < spring.stroke => {
                spring.force * (1.0 - travel.max(0.0) / spring.stroke)
            }
            _ => 0.0,
        }
    }

    /// Strength of the set of pins when one fails after another [N].
    ///
    /// Law: a rigid nose displaces all pins alike, and pins of one kind are equally stiff, so
    /// each carries an equal share of the load until it breaks. With strengths s(1) <= ... <= s(n)
    /// the set holds max over i of (n - i + 1) s(i). Equal pins hold n s. Brittle failure: pins that
    /// yield before breaking hold up to their sum, [`Nose::ductile_pin_strength`].
    pub fn pin_strength(&self) -> f64 {
        let held_with_weakest = |weakest: &Pin| {
            let whole = self
                .pins
                .iter()
                .filter(|pin| pin.strength >= weakest.strength)
                .count();
            whole as f64 * weakest.strength
        };
        self.pins.iter().map(held_with_weakest).fold(0.0, f64::max)
    }

    /// Strength of the set of pins if all reach their own strength together, the sum [N].
    pub fn ductile_pin_strength(&self) -> f64 {
        self.pins.iter().map(|pin| pin.strength).sum()
    }

    /// Which pin goes at which load on the set, under a load that only grows, weakest first.
    pub fn pin_failures(&self) -> Vec<PinFailure> {
        let mut order: Vec<(usize, f64)> = self
            .pins
            .iter()
            .enumerate()
            .map(|(index, pin)| (index, pin.strength))
            .collect();
        order.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut load = 0.0_f64;
        let mut whole = order.len();
        let mut failures = Vec::with_capacity(whole);
        for (pin, strength) in order {
            load = load.max(whole as f64 * strength);
            failures.push(PinFailure { pin, load });
            whole -= 1;
        }
        failures
    }

    /// Force still carried by the sheared pins at a travel [N]: the strength of the set at x = 0,
    /// each pin's part falling linearly to zero over its tear length.
    pub fn pin_residual_force(&self, travel: f64) -> f64 {
        if travel >= self.tear_length() {
            0.0
        } else {
            self.tearing_force(travel)
        }
    }

    /// [`Nose::pin_residual_force`] while the pins tear [N]: the line of the last pin goes on beyond its
    /// end, so that a step that looks past it meets no bend.
    pub(super) fn tearing_force(&self, travel: f64) -> f64 {
        let longest = self.tear_length();
        let (mut left, mut whole) = (0.0, 0.0);
        for pin in &self.pins {
            whole += pin.strength;
            if pin.tear_length > 0.0 && (travel < pin.tear_length || pin.tear_length >= longest) {
                left += pin.strength * (1.0 - travel.max(0.0) / pin.tear_length);
            }
        }
        if whole > 0.0 {
            self.pin_strength() * left / whole
        } else {
            0.0
        }
    }

    /// Travel after which no pin resists any more [m].
    pub fn tear_length(&self) -> f64 {
        self.pins
            .iter()
            .map(|pin| pin.tear_length)
            .fold(0.0, f64::max)
    }

    /// Tension in the tether, k (x - l) + c v in tension only [N].
    pub fn tether_tension(&self, travel: f64, speed: f64) -> f64 {
        match &self.tether {
            Some(tether) if travel >= tether.length => {
                (tether.stiffness * (travel - tether.length) + tether.damping * speed).max(0.0)
            }
            _ => 0.0,
        }
    }

    /// Checks that every number makes a usable nose.
    ///
    /// # Errors
    /// [`MechanicsError`] naming the first number or pair of numbers that does not.
    pub fn validate(&self) -> Result<(), MechanicsError> {
        const TINY: f64 = f64::MIN_POSITIVE;
        const HUGE: f64 = f64::MAX;
        within("nose", "mass [kg]", self.mass, TINY, HUGE)?;
        if let Some(body) = self.body_mass {
            within("nose", "body mass [kg]", body, TINY, HUGE)?;
        }
        within("nose", "bore [m]", self.bore, TINY, HUGE)?;
        within("nose", "engagement [m]", self.engagement, TINY, HUGE)?;
        within(
            "nose",
            "static friction [N]",
            self.static_friction,
            0.0,
            HUGE,
        )?;
        within(
            "nose",
            "kinetic friction [N]",
            self.kinetic_friction,
            0.0,
            HUGE,
        )?;
        within("nose", "hold-down [N]", self.hold_down, -HUGE, HUGE)?;
        within(
            "nose",
            "gap discharge coefficient",
            self.gap_discharge_coefficient,
            0.0,
            1.0,
        )?;
        if self.kinetic_friction > self.static_friction {
            return Err(MechanicsError::FrictionReversed {
                kinetic: self.kinetic_friction,
                static_friction: self.static_friction,
            });
        }
        for pin in &self.pins {
            within("pin", "strength [N]", pin.strength, 0.0, HUGE)?;
            within("pin", "tear length [m]", pin.tear_length, 0.0, HUGE)?;
            if pin.tear_length > self.engagement {
                return Err(MechanicsError::TearTooLong {
                    tear_length: pin.tear_length,
                    engagement: self.engagement,
                });
            }
        }
        if let Some(spring) = &self.spring {
            within("spring", "force [N]", spring.force, 0.0, HUGE)?;
            within("spring", "stroke [m]", spring.stroke, TINY, HUGE)?;
        }
        if let Some(tether) = &self.tether {
            within("tether", "stiffness [N/m]", tether.stiffness, TINY, HUGE)?;
            within("tether", "damping [N s/m]", tether.damping, 0.0, HUGE)?;
            within("tether", "length [m]", tether.length, 0.0, HUGE)?;
            if let Some(rating) = tether.rating {
                within("tether", "rated load [N]", rating, TINY, HUGE)?;
            }
            if tether.length < self.engagement {
                return Err(MechanicsError::TetherTooShort {
                    length: tether.length,
                    engagement: self.engagement,
                });
            }
        }
        Ok(())
    }
}
