//! What may have gone wrong.

/// A cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// The design explains the trace.
    NothingWrong,
    /// The valve turns too slowly.
    ValveSlow,
    /// The valve starts too late.
    ValveLate,
    /// The valve stops before it is fully open.
    ValvePartlyOpen,
    /// The bay leaks past its seal.
    SealLeak,
    /// A port that should be shut is open.
    VentOpen,
    /// The cartridge holds too little.
    CartridgeLight,
    /// The cartridge is colder than it should be.
    CartridgeCold,
    /// The neck of the cartridge is not fully pierced.
    NeckPartlyPierced,
    /// The pins let go too early.
    PinsEarly,
    /// The pins hold too long.
    PinsStrong,
    /// The nose rubs or jams on its coupler.
    NoseJammed,
    /// The sensor's zero or scale is off.
    SensorOffset,
    /// The sensor is slow (a long or clogged line).
    SensorLag,
}

impl Cause {
    /// Every cause, in the order of a report among equals.
    pub const ALL: [Cause; 14] = [
        Cause::NothingWrong,
        Cause::ValveSlow,
        Cause::ValveLate,
        Cause::ValvePartlyOpen,
        Cause::SealLeak,
        Cause::VentOpen,
        Cause::CartridgeLight,
        Cause::CartridgeCold,
        Cause::NeckPartlyPierced,
        Cause::PinsEarly,
        Cause::PinsStrong,
        Cause::NoseJammed,
        Cause::SensorOffset,
        Cause::SensorLag,
    ];

    /// Name in data files and options: `seal_leak`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Cause::NothingWrong => "nothing_wrong",
            Cause::ValveSlow => "valve_slow",
            Cause::ValveLate => "valve_late",
            Cause::ValvePartlyOpen => "valve_partly_open",
            Cause::SealLeak => "seal_leak",
            Cause::VentOpen => "vent_open",
            Cause::CartridgeLight => "cartridge_light",
            Cause::CartridgeCold => "cartridge_cold",
            Cause::NeckPartlyPierced => "neck_partly_pierced",
            Cause::PinsEarly => "pins_early",
            Cause::PinsStrong => "pins_strong",
            Cause::NoseJammed => "nose_jammed",
            Cause::SensorOffset => "sensor_offset",
            Cause::SensorLag => "sensor_lag",
        }
    }

    /// Name in sentences: "seal leaking".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Cause::NothingWrong => "nothing wrong",
            Cause::ValveSlow => "valve slow",
            Cause::ValveLate => "valve late",
            Cause::ValvePartlyOpen => "valve not fully open",
            Cause::SealLeak => "seal leaking",
            Cause::VentOpen => "vent left open",
            Cause::CartridgeLight => "cartridge light",
            Cause::CartridgeCold => "cartridge cold",
            Cause::NeckPartlyPierced => "neck not fully pierced",
            Cause::PinsEarly => "pins early",
            Cause::PinsStrong => "pins too strong",
            Cause::NoseJammed => "nose jammed",
            Cause::SensorOffset => "sensor offset",
            Cause::SensorLag => "sensor lag",
        }
    }

    /// The cause that does the same to the rocket: a hole in the bay is a hole, whatever it was meant to be.
    #[must_use]
    pub fn twin(self) -> Option<Cause> {
        match self {
            Cause::SealLeak => Some(Cause::VentOpen),
            Cause::VentOpen => Some(Cause::SealLeak),
            _ => None,
        }
    }

    /// Whether the fault lies in the measurement and not in the rocket.
    #[must_use]
    pub fn is_sensor(self) -> bool {
        matches!(self, Cause::SensorOffset | Cause::SensorLag)
    }
}
