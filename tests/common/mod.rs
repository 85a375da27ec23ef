//! Reading the published data sets.
#![allow(dead_code)] // each test binary uses its own part

use std::collections::HashMap;
use std::path::PathBuf;

/// One row: column name to text.
pub type Row = HashMap<String, String>;

/// All rows of `fixtures/published/<set>/data.csv`.
pub fn published(set: &str) -> Vec<Row> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/published")
        .join(set)
        .join("data.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_path(&path)
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<Row> = reader
        .deserialize()
        .map(|row| row.expect("a row of the set"))
        .collect();
    assert!(!rows.is_empty(), "{set} is empty");
    rows
}

/// A number in a row.
pub fn number(row: &Row, column: &str) -> f64 {
    row.get(column)
        .unwrap_or_else(|| panic!("no column {column}"))
        .parse()
        .unwrap_or_else(|e| panic!("{column} = {:?}: {e}", row[column]))
}

/// A number in a row, or `None` where the cell is empty.
pub fn number_if_any(row: &Row, column: &str) -> Option<f64> {
    (!row[column].is_empty()).then(|| number(row, column))
}

/// Relative difference.
pub fn relative(value: f64, reference: f64) -> f64 {
    ((value - reference) / reference).abs()
}

/// Fail unless `value` is within `tolerance` (relative) of `reference`.
#[track_caller]
pub fn close(what: &str, value: f64, reference: f64, tolerance: f64) {
    let difference = relative(value, reference);
    assert!(
        difference <= tolerance,
        "{what}: {value} against {reference}, relative difference {difference:e} > {tolerance:e}"
    );
}

/// Ready-made pieces of systems.
pub mod systems {
    use coldkick::flow::FluxModel;
    use coldkick::flow::opening::Opening;
    use coldkick::network::spec::{
        Ambient, Command, Condensation, Draw, End, Path, PathRole, Role, System, Vessel,
    };
    use coldkick::thermo::air;

    /// A vessel of CO2 alone [kg, K, m3].
    pub fn cartridge(mass: f64, temperature: f64, volume: f64, draw: Draw) -> Vessel {
        Vessel {
            name: "cartridge".to_owned(),
            role: Role::Cartridge,
            volume,
            co2_mass: mass,
            air_mass: 0.0,
            temperature,
            stands_open: false,
            draw,
            condensation: Condensation::Equilibrium,
            wall: None,
            pressure_rating: None,
        }
    }

    /// A vessel of air [Pa, K, m3].
    pub fn air_vessel(name: &str, pressure: f64, temperature: f64, volume: f64) -> Vessel {
        Vessel {
            name: name.to_owned(),
            role: Role::Bay,
            co2_mass: 0.0,
            air_mass: pressure * volume / (air::GAS_CONSTANT * temperature),
            ..cartridge(0.0, temperature, volume, Draw::Vapour)
        }
    }

    /// An orifice open from the start, effective area [m2].
    pub fn orifice(from: End, to: End, area: f64, model: FluxModel) -> Path {
        Path {
            name: "orifice".to_owned(),
            role: PathRole::Orifice,
            from,
            to,
            area,
            discharge_coefficient: 1.0,
            opening: Opening::Instant,
            command: Command::Always,
            flux_model: model,
            one_way: false,
            friction_number: 0.0,
        }
    }

    /// A rigid network without a nose, at 101 325 Pa and 293.15 K outside.
    pub fn rigid(vessels: Vec<Vessel>, paths: Vec<Path>, horizon: f64) -> System {
        System {
            vessels,
            paths,
            ambient: Ambient::constant(101_325.0, 293.15),
            nose: None,
            horizon,
        }
    }
}
