//! Closed forms of a tether running taut: what the full motion should come near to.

use super::error::{MechanicsError, within};

const PART: &str = "tether";

/// Peak of a snatch between two bodies that part at a speed with no other force between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Snatch {
    /// Peak tension [N].
    pub force: f64,
    /// Greatest stretch [m].
    pub stretch: f64,
    /// Kinetic energy of the relative motion, mu v^2/2 [J].
    pub energy: f64,
}

/// Undamped snatch: F = v sqrt(k mu), stretch v sqrt(mu/k).
///
/// Law: energy of the relative motion goes into a linear spring. `speed` v [m/s], `stiffness`
/// k [N/m], `reduced_mass` mu = m1 m2/(m1 + m2) [kg].
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for a negative speed, or a stiffness or mass not positive.
///
/// ```
/// use coldkick::mechanics::tether::snatch;
/// let peak = snatch(10.0, 5_000.0, 1.0 * 8.0 / 9.0)?;
/// assert!((peak.force - 666.67).abs() < 0.01);
/// # Ok::<(), coldkick::mechanics::MechanicsError>(())
/// ```
pub fn snatch(speed: f64, stiffness: f64, reduced_mass: f64) -> Result<Snatch, MechanicsError> {
    check(speed, stiffness, reduced_mass)?;
    Ok(Snatch {
        force: speed * (stiffness * reduced_mass).sqrt(),
        stretch: speed * (reduced_mass / stiffness).sqrt(),
        energy: 0.5 * reduced_mass * speed * speed,
    })
}

/// Peak tension of a damped snatch [N], spring and damper in parallel.
///
/// Law: with zeta = c/(2 sqrt(k mu)), below 1/2 the peak is
/// v sqrt(k mu) exp[-(zeta/sqrt(1-zeta^2)) (acos zeta - 2 asin zeta)], a little after the tether
/// runs taut; from 1/2 on it is c v at that instant. Derived from mu s'' + c s' + k s = 0,
/// s(0) = 0, s'(0) = v. `damping` c [N s/m].
///
/// # Errors
/// As [`snatch`], or for a negative damping.
pub fn damped_peak(
    speed: f64,
    stiffness: f64,
    reduced_mass: f64,
    damping: f64,
) -> Result<f64, MechanicsError> {
    check(speed, stiffness, reduced_mass)?;
    within(PART, "damping [N s/m]", damping, 0.0, f64::MAX)?;
    let impedance = (stiffness * reduced_mass).sqrt();
    let zeta = damping / (2.0 * impedance);
    if zeta >= 0.5 {
        return Ok(damping * speed);
    }
    let phase = zeta.acos() - 2.0 * zeta.asin();
    Ok(speed * impedance * (-zeta / (1.0 - zeta * zeta).sqrt() * phase).exp())
}

/// Peak tension [N] of a rope that stops a falling mass, F = m g + sqrt[(m g)^2 + 2 m g EA f].
///
/// Law: fall-arrest form of the energy balance. `mass` m [kg], `fall_factor` f height of fall over
/// length of rope [-], `axial_stiffness` EA [N], the tension at unit strain.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for a number that is negative, or a stiffness not positive.
pub fn rope_fall(mass: f64, fall_factor: f64, axial_stiffness: f64) -> Result<f64, MechanicsError> {
    within(PART, "mass [kg]", mass, 0.0, f64::MAX)?;
    within(PART, "fall factor [-]", fall_factor, 0.0, f64::MAX)?;
    within(
        PART,
        "axial stiffness [N]",
        axial_stiffness,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    let weight = mass * STANDARD_GRAVITY;
    Ok(weight + (weight * weight + 2.0 * weight * axial_stiffness * fall_factor).sqrt())
}

/// Axial stiffness EA [N] of a rope from the peak force of its standard drop test.
///
/// The inverse of [`rope_fall`]: a rope sold with 9 kN at 80 kg and fall factor 1.77 has 24 kN.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] if the force is not above twice the weight, or a number is not
/// positive.
pub fn rope_axial_stiffness(
    mass: f64,
    fall_factor: f64,
    force: f64,
) -> Result<f64, MechanicsError> {
    within(PART, "mass [kg]", mass, f64::MIN_POSITIVE, f64::MAX)?;
    within(
        PART,
        "fall factor [-]",
        fall_factor,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    let weight = mass * STANDARD_GRAVITY;
    within(PART, "peak force [N]", force, 2.0 * weight, f64::MAX)?;
    Ok(((force - weight).powi(2) - weight * weight) / (2.0 * weight * fall_factor))
}

const STANDARD_GRAVITY: f64 = 9.806_65;

fn check(speed: f64, stiffness: f64, reduced_mass: f64) -> Result<(), MechanicsError> {
    within(PART, "speed [m/s]", speed, 0.0, f64::MAX)?;
    within(
        PART,
        "stiffness [N/m]",
        stiffness,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    within(
        PART,
        "reduced mass [kg]",
        reduced_mass,
        f64::MIN_POSITIVE,
        f64::MAX,
    )?;
    Ok(())
}
