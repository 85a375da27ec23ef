//! What seal and coupler friction may be: estimates to start from, with how unsure they are.
//!
//! Published values disagree by up to five times, so each estimate is a band; the friction of the
//! finished nose is found with a spring balance in a minute.

use super::error::{MechanicsError, within};

/// Lowest and highest coefficient of friction between coupler tubes in the trade's tables:
/// fibre, paper or filled plastic on the same, dry, clean or dusty [-]. Origin: common practice;
/// sources disagree by up to five times.
pub const COUPLER_COEFFICIENT: (f64, f64) = (0.1, 0.6);

/// Breakout friction of an O-ring over its running friction, at most [-]; it grows with the time
/// at rest. Origin: O-ring makers' handbooks.
pub const BREAKOUT_OVER_RUNNING: f64 = 3.0;

/// Running friction of an O-ring squeezed 10-20 % per circumference, little pressure [N/m].
/// Origin: O-ring makers' design charts, 70 Shore A, greased to dry (memory; a factor of three
/// wide).
pub const O_RING_RUNNING: (f64, f64) = (50.0, 200.0);

/// A band of friction force.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrictionBand {
    /// Least [N].
    pub least: f64,
    /// Most [N].
    pub most: f64,
}

/// Running friction of an O-ring, force per circumference times circumference.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] unless the diameter [m] is positive.
pub fn o_ring_running(diameter: f64) -> Result<FrictionBand, MechanicsError> {
    let diameter = within(
        "O-ring",
        "diameter [m]",
        diameter,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    let circumference = std::f64::consts::PI * diameter;
    let (low, high) = O_RING_RUNNING;
    Ok(FrictionBand {
        least: low * circumference,
        most: high * circumference,
    })
}

/// Breakout friction of an O-ring: from its running friction to three times it.
///
/// # Errors
/// As [`o_ring_running`].
pub fn o_ring_breakout(diameter: f64) -> Result<FrictionBand, MechanicsError> {
    let running = o_ring_running(diameter)?;
    Ok(FrictionBand {
        least: running.least,
        most: BREAKOUT_OVER_RUNNING * running.most,
    })
}

/// Friction of a coupler under a bending moment, as of a rocket flying at an angle to the wind.
///
/// Law: the moment M [N m] is carried by a couple of forces N = M/L at the two ends of the
/// engagement L [m], each rubbing: F = 2 mu M/L. Assumption: stiff tubes, no cocking lock (which
/// would need 2 mu above 1 for an axial push on the centre line).
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for a negative moment, or an engagement that is not positive.
pub fn coupler_under_moment(moment: f64, engagement: f64) -> Result<FrictionBand, MechanicsError> {
    within("coupler", "bending moment [N m]", moment, 0.0, f64::MAX)?;
    within(
        "coupler",
        "engagement [m]",
        engagement,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    let pair = 2.0 * moment / engagement;
    let (low, high) = COUPLER_COEFFICIENT;
    Ok(FrictionBand {
        least: low * pair,
        most: high * pair,
    })
}
