//! Where in a system something may go wrong.

use crate::network::spec::{Command, End, Path, PathRole, Role, System};

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
        let is_cartridge = |end: &End| match end {
            End::Vessel(v) => system
                .vessels
                .get(*v)
                .is_some_and(|v| v.role == Role::Cartridge),
            End::Ambient => false,
        };
        // Up the stream from the valve, or else the first cartridge.
        let mut neck = None;
        let mut passed: Vec<usize> = Vec::new();
        let mut at = valve.and_then(|index| Some((index, system.paths.get(index)?.from)));
        while let Some((index, upstream)) = at {
            if is_cartridge(&upstream) {
                neck = Some((index, upstream));
                break;
            }
            passed.push(index);
            let fresh = || into(system, upstream).filter(|(index, _)| !passed.contains(index));
            at = fresh()
                .find(|(_, source)| is_cartridge(source))
                .or_else(|| fresh().next());
        }
        let out_of_any = || {
            let paths = system.paths.iter().enumerate();
            let mut sources =
                paths.flat_map(|(index, path)| sources(path).map(move |s| (index, s)));
            sources.find(|(_, source)| is_cartridge(source))
        };
        let (neck, cartridge) = match neck.or_else(out_of_any) {
            Some((index, End::Vessel(vessel))) => (Some(index), Some(vessel)),
            _ => (None, None),
        };
        Places {
            bay: system.bay(),
            valve,
            cartridge,
            neck,
        }
    }
}

/// The ends that gas may come from through a path: its beginning, and the end of an open orifice, which may be written
/// either way round unless it lets nothing pass back.
fn sources(path: &Path) -> impl Iterator<Item = End> + use<> {
    let both = path.role == PathRole::Orifice && path.command == Command::Always && !path.one_way;
    [Some(path.from), both.then_some(path.to)]
        .into_iter()
        .flatten()
}

/// The paths that lead into an end, with where each comes from: those written that way first.
fn into(system: &System, end: End) -> impl Iterator<Item = (usize, End)> {
    let paths = || system.paths.iter().enumerate();
    let written = paths().filter(move |(_, path)| path.to == end);
    let reversed = paths().filter(move |(_, path)| path.from == end);
    let reversed = reversed.filter(|(_, path)| {
        path.to != End::Ambient && sources(path).any(|source| source == path.to)
    });
    written
        .map(|(index, path)| (index, path.from))
        .chain(reversed.map(|(index, path)| (index, path.to)))
}
