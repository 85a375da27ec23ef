//! Where in a system something may go wrong.

use crate::network::spec::{Command, End, Role, System};

/// Where in a system the causes act.
#[derive(Debug, Clone, PartialEq)]
pub struct Places {
    /// The vessel under the nose, or the last bay.
    pub bay: usize,
    /// The valve commanded first.
    pub valve: Option<usize>,
    /// The cartridge the gas comes from first.
    pub cartridge: Option<usize>,
    /// The path out of that cartridge.
    pub neck: Option<usize>,
}

impl Places {
    /// Finds them in a system.
    #[must_use]
    pub fn of(system: &System) -> Self {
        let valve = system
            .paths
            .iter()
            .enumerate()
            .filter_map(|(index, path)| match path.command {
                Command::At(time) => Some((index, time)),
                _ => None,
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(index, _)| index);
        let is_cartridge = |end: End| match end {
            End::Vessel(v) => system
                .vessels
                .get(v)
                .is_some_and(|v| v.role == Role::Cartridge),
            End::Ambient => false,
        };
        // Up the stream from the valve, or else the first cartridge.
        let mut neck = None;
        let mut at = valve;
        for _ in 0..system.paths.len() {
            let Some(path) = at.and_then(|index| system.paths.get(index)) else {
                break;
            };
            if is_cartridge(path.from) {
                neck = at;
                break;
            }
            let upstream = path.from;
            at = system.paths.iter().position(|path| path.to == upstream);
        }
        let neck = neck.or_else(|| system.paths.iter().position(|path| is_cartridge(path.from)));
        let cartridge = neck
            .and_then(|index| system.paths.get(index))
            .and_then(|path| match path.from {
                End::Vessel(vessel) => Some(vessel),
                End::Ambient => None,
            });
        Places {
            bay: system.bay(),
            valve,
            cartridge,
            neck,
        }
    }
}
