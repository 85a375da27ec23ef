//! The load at which a screw used as a shear pin lets go, from its material and thread.

use std::f64::consts::PI;

use super::error::{MechanicsError, within};

/// A screw thread of 60 degree profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thread {
    /// Designation.
    pub name: &'static str,
    /// Major diameter d [m].
    pub major_diameter: f64,
    /// Pitch P [m].
    pub pitch: f64,
}

const INCH: f64 = 0.025_4;

const fn metric(name: &'static str, diameter_mm: f64, pitch_mm: f64) -> Thread {
    Thread {
        name,
        major_diameter: diameter_mm * 1e-3,
        pitch: pitch_mm * 1e-3,
    }
}

const fn unified(name: &'static str, diameter_inch: f64, threads_per_inch: f64) -> Thread {
    Thread {
        name,
        major_diameter: diameter_inch * INCH,
        pitch: INCH / threads_per_inch,
    }
}

/// ISO metric coarse (ISO 261) and unified (ASME B1.1) threads of the sizes used as pins.
pub const THREADS: [Thread; 10] = [
    metric("M1.6", 1.6, 0.35),
    metric("M2", 2.0, 0.4),
    metric("M2.5", 2.5, 0.45),
    metric("M3", 3.0, 0.5),
    metric("M4", 4.0, 0.7),
    unified("2-56", 0.086, 56.0),
    unified("4-40", 0.112, 40.0),
    unified("6-32", 0.138, 32.0),
    unified("8-32", 0.164, 32.0),
    unified("10-24", 0.190, 24.0),
];

impl Thread {
    /// Finds a thread by its designation.
    ///
    /// # Errors
    /// [`MechanicsError::UnknownThread`] with the names that exist.
    pub fn named(name: &str) -> Result<&'static Thread, MechanicsError> {
        let wanted = name.trim();
        THREADS
            .iter()
            .find(|thread| thread.name.eq_ignore_ascii_case(wanted))
            .ok_or_else(|| MechanicsError::UnknownThread {
                name: wanted.to_owned(),
                known: THREADS.map(|thread| thread.name).join(", "),
            })
    }

    /// Cross-section at the root [m2].
    ///
    /// Equation: A = pi d3^2/4, d3 = d - 1.226869 P, the root of the basic profile with a
    /// rounded root (ISO 68-1, ASME B1.1; 17/12 of the fundamental triangle's height off d).
    #[must_use]
    pub fn root_area(&self) -> f64 {
        let root = self.major_diameter - 1.226_869 * self.pitch;
        0.25 * PI * root * root
    }
}

/// What a pin is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PinMaterial {
    /// Name.
    pub name: &'static str,
    /// Least and greatest published shear strength, dry at 23 degC [Pa].
    pub shear_strength: (f64, f64),
    /// Strength at a temperature [K] relative to 23 degC dry: dry, and in air of 50 % humidity.
    relative_strength: &'static [(f64, f64, f64)],
    /// Where the values come from.
    pub origin: &'static str,
}

/// Plastics and metal used as shear pins.
pub const PIN_MATERIALS: [PinMaterial; 3] = [
    PinMaterial {
        name: "nylon-6/6",
        shear_strength: (54.0e6, 72.4e6),
        // Tensile strength 114/110 MPa at -40 degC, 83/77 at 23, 62/41 at 77 (dry/50 %).
        relative_strength: &[
            (233.15, 114.0 / 83.0, 110.0 / 83.0),
            (296.15, 1.0, 77.0 / 83.0),
            (350.15, 62.0 / 83.0, 41.0 / 83.0),
        ],
        origin: "moulded fasteners 54 MPa, material sheets (ASTM D732) 66.2 to 72.4 MPa; follows \
                 tensile strength with temperature and moisture, an assumption",
    },
    PinMaterial {
        name: "acetal",
        shear_strength: (34.0e6, 65.0e6),
        // Tensile strength about 100 MPa at -40 degC, 69 at 23, 45 at 77, from memory.
        relative_strength: &[
            (233.15, 1.45, 1.45),
            (296.15, 1.0, 1.0),
            (350.15, 0.65, 0.65),
        ],
        origin: "sources disagree by a factor of two; temperature from memory of tensile strength",
    },
    PinMaterial {
        name: "aluminium-6061-T6",
        shear_strength: (186.0e6, 207.0e6),
        relative_strength: &[(233.15, 1.0, 1.0), (350.15, 1.0, 1.0)],
        origin: "design minimum and typical handbook value, from memory; constant over the range",
    },
];

impl PinMaterial {
    /// Finds a material by name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static PinMaterial> {
        PIN_MATERIALS
            .iter()
            .find(|material| material.name.eq_ignore_ascii_case(name.trim()))
    }

    /// Strength relative to that at 23 degC dry [-].
    ///
    /// Straight lines between the tabulated temperatures, and between dry and 50 % relative
    /// humidity. Range: 233.15 K to 350.15 K, humidity 0 to 0.5 (wetter air is taken as 0.5 by
    /// the caller or refused here).
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] outside that range.
    pub fn relative_strength(
        &self,
        temperature: f64,
        humidity: f64,
    ) -> Result<f64, MechanicsError> {
        const PART: &str = "pin material";
        const ROUNDING: f64 = 1e-6;
        let rows = self.relative_strength;
        let least = rows.first().map_or(f64::NAN, |row| row.0);
        let most = rows.last().map_or(f64::NAN, |row| row.0);
        // "-40 degC" in kelvin may fall a rounding error outside.
        within(
            PART,
            "temperature [K]",
            temperature,
            least - ROUNDING,
            most + ROUNDING,
        )?;
        within(PART, "relative humidity", humidity, 0.0, 0.5)?;
        let at = |row: &(f64, f64, f64)| row.1 + (row.2 - row.1) * humidity / 0.5;
        for pair in rows.windows(2) {
            if let [cold, warm] = pair
                && temperature <= warm.0
            {
                let share = (temperature - cold.0) / (warm.0 - cold.0);
                return Ok(at(cold) + share * (at(warm) - at(cold)));
            }
        }
        Ok(rows.last().map_or(f64::NAN, at))
    }
}

/// Load at which a pin in single shear lets go [N].
///
/// Law: F = tau A r(T, h), tau shear strength dry at 23 degC [Pa], A sheared cross-section [m2],
/// r strength relative to 23 degC dry [-].
/// Assumption: pure shear across the whole section at once; a loose hole bends the pin and
/// lowers the load.
///
/// # Errors
/// As [`PinMaterial::relative_strength`].
pub fn single_shear_load(
    material: &PinMaterial,
    shear_strength: f64,
    area: f64,
    temperature: f64,
    humidity: f64,
) -> Result<f64, MechanicsError> {
    Ok(shear_strength * area * material.relative_strength(temperature, humidity)?)
}
