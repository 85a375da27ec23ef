//! The design file as written: the shape of each section, before any value is understood.
//!
//! Every value is a quoted text; what it means is decided by the field it stands in.

use std::collections::BTreeMap;
use std::fmt;

use serde::Deserialize;
use serde::de::{Deserializer, Error, Visitor};

/// A quoted value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text(pub String);

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(TextVisitor)
    }
}

struct TextVisitor;

impl Visitor<'_> for TextVisitor {
    type Value = Text;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a value in quotes, such as \"16 g\"")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Text, E> {
        Ok(Text(text.to_owned()))
    }

    fn visit_string<E: Error>(self, text: String) -> Result<Text, E> {
        Ok(Text(text))
    }
}

/// A named map; the order of the file is restored from the scan.
pub type Table<T> = BTreeMap<String, T>;

/// A whole design.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DesignSection {
    pub name: Text,
    pub notes: Option<Text>,
    #[serde(default)]
    pub shared: Table<Text>,
    #[serde(default)]
    pub correlations: Vec<CorrelationSection>,
    pub vessels: Table<VesselSection>,
    #[serde(default)]
    pub paths: Table<PathSection>,
    pub nose: Option<NoseSection>,
    pub site: SiteSection,
    #[serde(default)]
    pub criteria: CriteriaSection,
    pub horizon: Option<Text>,
    pub size: Option<SizeSection>,
}

/// A rank correlation between two uncertain values.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CorrelationSection {
    pub between: Vec<Text>,
    pub rank: Text,
}

/// A cartridge, manifold, reservoir or bay.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VesselSection {
    pub kind: Text,
    pub part: Option<Text>,
    pub charge: Option<Text>,
    pub volume: Option<Text>,
    pub temperature: Option<Text>,
    pub pressure: Option<Text>,
    pub draw: Option<Text>,
    pub condensation: Option<Text>,
    pub rating: Option<Text>,
    pub wall: Option<WallSection>,
    pub insulated: Option<bool>,
}

/// The shell of a vessel.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WallSection {
    pub material: Option<Text>,
    pub mass: Option<Text>,
    pub thickness: Option<Text>,
    pub inner_area: Option<Text>,
    pub outer_area: Option<Text>,
    pub specific_heat: Option<Text>,
    pub conductivity: Option<Text>,
    pub temperature: Option<Text>,
    pub inside: Option<InsideSection>,
    pub outside: Option<OutsideSection>,
    pub solar: Option<Text>,
}

/// Heat transfer from shell to contents.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum InsideSection {
    Coefficient(Text),
    Boiling {
        roughness: Option<Text>,
        area_factor: Option<Text>,
        height: Option<Text>,
        gravity: Option<Text>,
    },
    NaturalConvection {
        height: Option<Text>,
        gravity: Option<Text>,
    },
    StirredJet {
        diameter: Text,
    },
}

/// Heat transfer from shell to surroundings.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum OutsideSection {
    Adiabatic,
    Coefficient(Text),
    NaturalConvection { height: Option<Text> },
}

/// A flow path.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PathSection {
    pub kind: Text,
    pub from: Text,
    pub to: Text,
    pub diameter: Option<Text>,
    pub area: Option<Text>,
    pub kv: Option<Text>,
    pub cv: Option<Text>,
    pub xt: Option<Text>,
    pub decay: Option<DecaySection>,
    pub holes: Option<Text>,
    pub discharge_coefficient: Option<Text>,
    pub opening: Option<OpeningSection>,
    pub opens_at: Option<Text>,
    pub backup_at: Option<Text>,
    pub flow: Option<Text>,
    pub flow_blend: Option<Text>,
    pub one_way: Option<bool>,
    pub tube: Option<TubeSection>,
}

/// A leak as measured: pressure falling in a closed volume of air.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DecaySection {
    pub volume: Text,
    pub start: Text,
    pub end: Text,
    pub time: Text,
    pub temperature: Option<Text>,
    pub surroundings: Option<Text>,
}

/// How a valve opens.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum OpeningSection {
    Instant,
    Ramp {
        lag: Option<Text>,
        duration: Text,
    },
    Servo {
        part: Option<Text>,
        lag: Option<Text>,
        slew: Option<Text>,
        travel: Option<Text>,
        port: Option<PortSection>,
        supply_voltage: Option<Text>,
        rated_voltage: Option<Text>,
        cold_loss: Option<Text>,
        temperature: Option<Text>,
    },
}

/// Open area against angle.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum PortSection {
    Ball { full_angle: Option<Text> },
    Linear { full_angle: Option<Text> },
    Table(Vec<(Text, Text)>),
}

/// Friction in a tube.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TubeSection {
    pub length: Text,
    pub diameter: Option<Text>,
    pub friction_factor: Option<Text>,
    pub minor_losses: Option<Text>,
}

/// The nose cone.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoseSection {
    pub vessel: Text,
    pub bore: Text,
    pub mass: Text,
    pub body_mass: Option<Text>,
    pub engagement: Text,
    #[serde(default)]
    pub pins: Vec<PinSection>,
    pub static_friction: Option<Text>,
    pub kinetic_friction: Option<Text>,
    pub hold_down: Option<Text>,
    pub spring: Option<SpringSection>,
    pub tether: Option<TetherSection>,
    pub gap_discharge_coefficient: Option<Text>,
}

/// Equal shear pins.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PinSection {
    pub count: Option<Text>,
    pub strength: Option<Text>,
    pub material: Option<Text>,
    pub thread: Option<Text>,
    pub diameter: Option<Text>,
    pub shear_strength: Option<Text>,
    pub scatter: Option<Text>,
    pub temperature: Option<Text>,
    pub humidity: Option<Text>,
    pub tear_length: Option<Text>,
}

/// A separation spring.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpringSection {
    pub force: Text,
    pub stroke: Text,
}

/// The cord between nose and body.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TetherSection {
    pub part: Option<Text>,
    pub length: Text,
    pub force_per_strain: Option<Text>,
    pub stiffness: Option<Text>,
    pub damping: Option<Text>,
    pub damping_ratio: Option<Text>,
    pub rating: Option<Text>,
}

/// Where it happens.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SiteSection {
    pub mode: Text,
    pub altitude: Option<Text>,
    pub pressure: Option<Text>,
    pub temperature: Option<Text>,
    pub elevation: Option<Text>,
}

/// What counts as success.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CriteriaSection {
    pub clear_within: Option<Text>,
    pub exit_speed_least: Option<Text>,
    pub exit_speed_most: Option<Text>,
    pub retention_factor: Option<Text>,
}

/// What `size` may choose, and what the choice must achieve.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SizeSection {
    pub free: Vec<FreeSection>,
    #[serde(default)]
    pub cartridges: Table<OwnCartridgeSection>,
    pub aim: Option<Text>,
    pub temperature: Option<Text>,
    pub coldest: Option<Text>,
    pub hottest: Option<Text>,
    pub at_least: Option<Text>,
    pub climb: Option<ClimbSection>,
}

/// One thing left open.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum FreeSection {
    Cartridge {
        vessel: Text,
        from: Option<Vec<Text>>,
        number: Option<Vec<Text>>,
    },
    Servo {
        valve: Text,
        from: Option<Vec<Text>>,
    },
    Pins {
        entry: Option<Text>,
        kinds: Option<Vec<PinSection>>,
        count: Option<Vec<Text>>,
    },
    Value {
        of: Text,
        least: Text,
        most: Text,
        step: Option<Text>,
    },
}

/// A cartridge that the library does not have.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OwnCartridgeSection {
    pub charge: Text,
    pub volume: Text,
    pub rating: Option<Text>,
    pub mass: Text,
    pub thickness: Text,
}

/// The climb with the bay shut but for its leaks and vents.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClimbSection {
    pub pad: Text,
    pub time: Text,
    pub pull: Option<Text>,
    pub factor: Option<Text>,
}
