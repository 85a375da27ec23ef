//! The standard atmosphere.

/// Range of geometric altitude [m]: sea-level shores to the top of the fourth layer.
pub const ALTITUDE_RANGE: (f64, f64) = (-2_000.0, 47_350.0);

/// Air at rest at an altitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardAir {
    /// Temperature [K].
    pub temperature: f64,
    /// Pressure [Pa].
    pub pressure: f64,
}

/// Radius of the earth by which altitude becomes geopotential [m].
const EARTH_RADIUS: f64 = 6_356_766.0;
/// Standard acceleration of free fall [m/s2].
const GRAVITY: f64 = 9.806_65;
/// Gas constant of air in the standard [J/(kg K)].
const GAS_CONSTANT: f64 = 287.052_87;
/// Layers: geopotential altitude of the base [m], lapse rate [K/m].
const LAYERS: [(f64, f64); 5] = [
    (0.0, -0.006_5),
    (11_000.0, 0.0),
    (20_000.0, 0.001),
    (32_000.0, 0.002_8),
    (47_000.0, 0.0),
];

/// Temperature and pressure of the standard atmosphere at a geometric altitude z [m].
///
/// Law: hydrostatic balance of a perfect gas in layers of constant lapse rate.
/// Equations: H = r z/(r + z); T = Tb + L (H - Hb); p = pb (Tb/T)^(g/(R L)), or
/// p = pb exp(-g (H - Hb)/(R T)) where L = 0. Symbols: H geopotential altitude [m], L lapse
/// rate [K/m], b base of the layer.
/// Source: ISO 2533:1975, the same as the US Standard Atmosphere 1976 below 32 km.
/// Range: -2000 m to 47 350 m; `None` outside. Assumption: a standard day; real air at the
/// same altitude differs by several percent in pressure and tens of kelvin.
#[must_use]
pub fn standard_air(altitude: f64) -> Option<StandardAir> {
    if !(ALTITUDE_RANGE.0..=ALTITUDE_RANGE.1).contains(&altitude) {
        return None;
    }
    let height = EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude);
    let mut air = StandardAir {
        temperature: 288.15,
        pressure: 101_325.0,
    };
    for (index, (base, lapse)) in LAYERS.iter().enumerate() {
        let top = LAYERS.get(index + 1).map_or(f64::INFINITY, |layer| layer.0);
        let rise = height.min(top) - base;
        let temperature = air.temperature + lapse * rise;
        let ratio = if *lapse == 0.0 {
            (-GRAVITY * rise / (GAS_CONSTANT * air.temperature)).exp()
        } else {
            (air.temperature / temperature).powf(GRAVITY / (GAS_CONSTANT * lapse))
        };
        air = StandardAir {
            temperature,
            pressure: air.pressure * ratio,
        };
        if height <= top {
            break;
        }
    }
    Some(air)
}
