//! The nose in motion: which forces act in which state, and what ends each state.
//!
//! Relative travel x [m] and speed v [m/s] obey mu dv/dt = D(x) - H - R, with mu the reduced
//! mass, D the driving force (bay pressure over ambient on the bore, and the spring), H the
//! steady hold-down and R what resists in the present state. Once the coupler is out H is what
//! [`Nose::free_hold_down`] says.
//!
//! | state | R | ends by |
//! |---|---|---|
//! | latched | whatever is needed, x = 0 | pins shear |
//! | tearing (v > 0) | kinetic friction, what is left of the pins | pins torn, stop |
//! | sliding (v > 0) | kinetic friction | stop, clear |
//! | stuck (v = 0) | whatever is needed up to static friction and the torn pins | break away, slide back |
//! | returning (v < 0) | kinetic friction, forward | stop, seat |
//! | free | none | taut, recontact |
//! | taut | tether tension | slack |
//!
//! Nothing jumps inside a state: every change is an event to be located, after which
//! [`Nose::after`] gives the state to go on from.

use super::nose::Nose;

/// What the nose is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Motion {
    /// Seated, pins whole.
    #[default]
    Latched,
    /// Moving off along the coupler, pins sheared but not torn.
    Tearing,
    /// Moving off along the coupler, pins torn.
    Sliding,
    /// Halted on the coupler (or back on its seat), pins sheared.
    Stuck,
    /// Moving back along the coupler.
    Returning,
    /// Off the coupler, tether slack.
    Free,
    /// Off the coupler, tether in tension.
    Taut,
}

impl Motion {
    /// Whether the coupler still closes the bay. Which it does is a matter of this state alone, not of
    /// the travel: no force and no flow changes its law before the event that ends the state.
    #[must_use]
    pub fn on_coupler(self) -> bool {
        !matches!(self, Self::Free | Self::Taut)
    }
}

/// What ends a state of motion, or is worth marking in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoseEvent {
    /// The pressure force reaches the retention force: the pins go.
    PinsShear,
    /// The pins' last residual force is gone.
    PinsTorn,
    /// Speed reaches zero on the coupler, from either side.
    Stop,
    /// The net force on a halted nose exceeds what holds it: off again.
    BreakAway,
    /// The net backward force on a halted nose exceeds static friction.
    SlideBack,
    /// The nose arrives back on its seat.
    Seat,
    /// The coupler is out: the gap opens.
    Clear,
    /// A free nose falls back to the mouth of the coupler.
    Recontact,
    /// The tether comes under tension.
    Taut,
    /// Tether tension is at a maximum.
    TetherPeak,
    /// Tether tension has fallen to zero.
    Slack,
}

/// Every nose event, in the order of [`Nose::event_values`].
pub const NOSE_EVENTS: [NoseEvent; 11] = [
    NoseEvent::PinsShear,
    NoseEvent::PinsTorn,
    NoseEvent::Stop,
    NoseEvent::BreakAway,
    NoseEvent::SlideBack,
    NoseEvent::Seat,
    NoseEvent::Clear,
    NoseEvent::Recontact,
    NoseEvent::Taut,
    NoseEvent::TetherPeak,
    NoseEvent::Slack,
];

/// Value of an event function that cannot fire in the present state.
pub const INACTIVE: f64 = -1.0;

/// State to go on from after an event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transition {
    /// What the nose does next.
    pub motion: Motion,
    /// Travel, put exactly on the boundary the event defines [m].
    pub travel: f64,
    /// Relative speed, exactly zero where the nose halts [m/s].
    pub speed: f64,
}

impl Nose {
    /// Motion at the start of a run: latched, unless the pressure force already equals or
    /// exceeds the retention force (as with a spring stronger than the pins), at which no event
    /// function could cross zero any more.
    pub fn initial_motion(&self, bay_pressure: f64, ambient_pressure: f64) -> Motion {
        let force = (bay_pressure - ambient_pressure) * self.area();
        if force >= self.retention_force() {
            self.moving_off(0.0)
        } else {
            Motion::Latched
        }
    }

    /// How a nose moves off along the coupler from a travel [m].
    fn moving_off(&self, travel: f64) -> Motion {
        if travel < self.tear_length() {
            Motion::Tearing
        } else {
            Motion::Sliding
        }
    }

    /// Area of the gap in a state of motion [m2]: none on the coupler, wherever a step looks.
    pub fn open_gap(&self, motion: Motion, travel: f64) -> f64 {
        if motion.on_coupler() {
            0.0
        } else {
            self.gap_area(travel)
        }
    }

    /// Volume the bay has gained in a state of motion [m3]: all of the coupler's once it is out.
    pub fn gained_volume(&self, motion: Motion, travel: f64) -> f64 {
        let swept = if motion.on_coupler() {
            travel
        } else {
            travel.min(self.engagement)
        };
        self.swept_volume(swept.max(0.0))
    }

    /// Relative acceleration dv/dt [m/s2] at travel x [m], relative speed v [m/s] and absolute
    /// pressures in the bay and outside [Pa]. Zero while latched or stuck, whose speed is zero.
    pub fn acceleration(
        &self,
        motion: Motion,
        travel: f64,
        speed: f64,
        bay_pressure: f64,
        ambient_pressure: f64,
    ) -> f64 {
        let gap = self.open_gap(motion, travel);
        let driving = self.force_past(gap, bay_pressure, ambient_pressure, travel);
        let net = driving - self.hold_down;
        let force = match motion {
            Motion::Latched | Motion::Stuck => return 0.0,
            Motion::Tearing => net - self.tearing_force(travel) - self.kinetic_friction,
            Motion::Sliding => net - self.kinetic_friction,
            Motion::Returning => net + self.kinetic_friction,
            Motion::Free => driving - self.free_hold_down(),
            Motion::Taut => driving - self.free_hold_down() - self.tether_tension(travel, speed),
        };
        force / self.reduced_mass()
    }

    /// Event functions in the order of [`NOSE_EVENTS`]. Each rises through zero when its event
    /// happens; those that cannot happen in this state are [`INACTIVE`]. One may start a state
    /// at zero and fall: that is not an event.
    pub fn event_values(
        &self,
        motion: Motion,
        travel: f64,
        speed: f64,
        bay_pressure: f64,
        ambient_pressure: f64,
    ) -> [f64; NOSE_EVENTS.len()] {
        let mut values = [INACTIVE; NOSE_EVENTS.len()];
        let [
            shear,
            torn,
            stop,
            break_away,
            slide_back,
            seat,
            clear,
            recontact,
            taut,
            peak,
            slack,
        ] = &mut values;
        let net = self.driving_force(bay_pressure, ambient_pressure, travel) - self.hold_down;
        match motion {
            Motion::Latched => {
                *shear = (bay_pressure - ambient_pressure) * self.area() - self.retention_force();
            }
            Motion::Tearing => {
                *torn = travel - self.tear_length();
                *stop = -speed;
                *clear = travel - self.engagement;
            }
            Motion::Sliding => {
                *stop = -speed;
                *clear = travel - self.engagement;
            }
            Motion::Stuck => {
                *break_away = net - self.static_friction - self.pin_residual_force(travel);
                if travel > 0.0 {
                    *slide_back = -net - self.static_friction;
                }
            }
            Motion::Returning => {
                *stop = speed;
                *seat = -travel;
            }
            Motion::Free => {
                *recontact = self.engagement - travel;
                if let Some(tether) = &self.tether {
                    // Both the stretch and the tension (as a length) must be positive.
                    let stretch = travel - tether.length;
                    *taut = stretch.min(stretch + tether.damping / tether.stiffness * speed);
                }
            }
            Motion::Taut => {
                if let Some(tether) = &self.tether {
                    let relaxation = tether.damping / tether.stiffness;
                    let rate = speed
                        + relaxation
                            * self.acceleration(
                                motion,
                                travel,
                                speed,
                                bay_pressure,
                                ambient_pressure,
                            );
                    *peak = -rate;
                    *slack = -(travel - tether.length + relaxation * speed);
                }
            }
        }
        values
    }

    /// About how long what begins with an event lasts [s], at a relative speed v [m/s]: the tearing of the
    /// pins, sqrt(m s/F), or the opening of the gap up to the width of the bore, D/(4 v); `None` for others.
    #[must_use]
    pub fn duration(&self, event: NoseEvent, speed: f64) -> Option<f64> {
        let lasting = match event {
            NoseEvent::PinsShear => {
                (self.reduced_mass() * self.tear_length() / self.pin_strength()).sqrt()
            }
            NoseEvent::Clear => (self.uncovered_travel() - self.engagement) / speed,
            _ => return None,
        };
        (lasting.is_finite() && lasting > 0.0).then_some(lasting)
    }

    /// State after an event at travel x [m], relative speed v [m/s] and absolute pressures [Pa].
    /// Events that only mark a moment leave the state as it is.
    pub fn after(
        &self,
        motion: Motion,
        event: NoseEvent,
        travel: f64,
        speed: f64,
        bay_pressure: f64,
        ambient_pressure: f64,
    ) -> Transition {
        let go_on = |motion| Transition {
            motion,
            travel,
            speed,
        };
        match event {
            NoseEvent::PinsShear => Transition {
                motion: Motion::Tearing,
                travel: 0.0,
                speed: 0.0,
            },
            NoseEvent::PinsTorn => go_on(Motion::Sliding),
            NoseEvent::TetherPeak => go_on(motion),
            NoseEvent::Stop => self.halt(travel, bay_pressure, ambient_pressure),
            NoseEvent::BreakAway => Transition {
                motion: self.moving_off(travel),
                travel,
                speed: 0.0,
            },
            NoseEvent::SlideBack => Transition {
                motion: Motion::Returning,
                travel,
                speed: 0.0,
            },
            NoseEvent::Seat => Transition {
                motion: Motion::Stuck,
                travel: 0.0,
                speed: 0.0,
            },
            NoseEvent::Clear => Transition {
                motion: Motion::Free,
                travel: self.engagement,
                speed,
            },
            NoseEvent::Recontact => Transition {
                motion: Motion::Returning,
                travel: self.engagement,
                speed,
            },
            NoseEvent::Taut => Transition {
                motion: Motion::Taut,
                // A damper pulls at once, and not at all just short of the length.
                travel: self
                    .tether
                    .as_ref()
                    .map_or(travel, |tether| travel.max(tether.length)),
                speed,
            },
            NoseEvent::Slack => go_on(Motion::Free),
        }
    }

    /// What a nose at rest on the coupler does next: friction holds it (stuck), or the net force
    /// exceeds static friction one way or the other.
    fn halt(&self, travel: f64, bay_pressure: f64, ambient_pressure: f64) -> Transition {
        let travel = travel.max(0.0);
        let net = self.driving_force(bay_pressure, ambient_pressure, travel) - self.hold_down;
        let forward = self.static_friction + self.pin_residual_force(travel);
        let motion = if net > forward {
            self.moving_off(travel)
        } else if net < -self.static_friction && travel > 0.0 {
            Motion::Returning
        } else {
            Motion::Stuck
        };
        Transition {
            motion,
            travel,
            speed: 0.0,
        }
    }
}
