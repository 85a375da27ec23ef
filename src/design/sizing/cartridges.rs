//! Cartridges left open: of the library or the user's own, one or several side by side.

use crate::design::build::names_in_order;
use crate::design::document::Document;
use crate::design::error::{DesignError, Problem};
use crate::design::expression;
use crate::design::parts::{self, CARTRIDGES};
use crate::design::schema::{DesignSection, OwnCartridgeSection, SizeSection, Text, VesselSection};
use crate::units::Dimension;

use super::options::{
    Choice, ChoiceOption, Edit, central, conflict, count, not_empty, plain, twin,
};

/// Most cartridges side by side.
const MOST_CARTRIDGES: usize = 4;

/// The choices a free cartridge makes: which, and how many.
pub(super) fn cartridge(
    document: &Document,
    design: &DesignSection,
    size: &SizeSection,
    at: &str,
    vessel: &Text,
    from: Option<&[Text]>,
    number: Option<&[Text]>,
) -> Result<Vec<Choice>, DesignError> {
    let vessel = vessel.0.trim();
    let known = names_in_order(document, "vessels", &design.vessels);
    let Some(section) = design.vessels.get(vessel) else {
        let name = vessel.to_owned();
        return Err(document.error_at(
            &format!("{at}.vessel"),
            Problem::UnknownVessel { name, known },
        ));
    };
    if section.kind.0.trim() != "cartridge" {
        return Err(conflict(
            document,
            &format!("{at}.vessel"),
            format!("`{vessel}` is not a cartridge"),
            "name a vessel of `kind: \"cartridge\"`",
        ));
    }
    let names: Vec<String> = match from {
        Some(list) => {
            not_empty(document, &format!("{at}.from"), list, "cartridges")?;
            list.iter()
                .map(|Text(name)| name.trim().to_owned())
                .collect()
        }
        None => CARTRIDGES
            .iter()
            .map(|part| part.name.to_owned())
            .chain(size.cartridges.keys().cloned())
            .collect(),
    };
    let mut options = Vec::with_capacity(names.len());
    for (index, name) in names.iter().enumerate() {
        let place = format!("{at}.from.{index}");
        if names.iter().take(index).any(|earlier| earlier == name) {
            return Err(document.error_at(&place, Problem::Duplicate { name: name.clone() }));
        }
        options.push(cartridge_option(
            document, section, size, vessel, name, &place,
        )?);
    }
    let mut choices = vec![Choice {
        name: "cartridge".to_owned(),
        options,
    }];
    if let Some(list) = number {
        not_empty(document, &format!("{at}.number"), list, "numbers")?;
        choices.push(numbers(document, design, at, vessel, list)?);
    }
    Ok(choices)
}

fn cartridge_option(
    document: &Document,
    section: &VesselSection,
    size: &SizeSection,
    vessel: &str,
    name: &str,
    place: &str,
) -> Result<ChoiceOption, DesignError> {
    let field = |field: &str| format!("vessels.{vessel}.{field}");
    let set = |name: &str, text: &str| Edit::Set(field(name), text.to_owned());
    let (charge, edits) = if let Some(own) = size.cartridges.get(name) {
        let OwnCartridgeSection {
            charge,
            volume,
            rating,
            mass,
            thickness,
        } = own;
        let mut edits = vec![
            Edit::Remove(field("part")),
            set("charge", &charge.0),
            set("volume", &volume.0),
            set("wall.material", "steel"),
            set("wall.mass", &mass.0),
            set("wall.thickness", &thickness.0),
        ];
        edits.push(match rating {
            Some(Text(rating)) => set("rating", rating),
            None => Edit::Remove(field("rating")),
        });
        for (field, text, dimension) in [
            ("charge", charge, Dimension::Mass),
            ("volume", volume, Dimension::Volume),
            ("mass", mass, Dimension::Mass),
            ("thickness", thickness, Dimension::Length),
        ] {
            expression::parse(&text.0, dimension).map_err(|problem| {
                document.error_at(&format!("size.cartridges.{name}.{field}"), problem)
            })?;
        }
        (charge.0.as_str(), edits)
    } else if let Some(part) = parts::find(CARTRIDGES, name) {
        let written = section.part.as_ref().map(|Text(part)| part.trim());
        if written == Some(name) {
            // What the designer measured on this very part stays.
            let charge = section
                .charge
                .as_ref()
                .map_or(part.charge, |Text(charge)| charge);
            (charge, Vec::new())
        } else {
            let overrides = ["charge", "volume", "rating", "wall.mass", "wall.thickness"];
            let mut edits: Vec<Edit> = overrides
                .into_iter()
                .map(|name| Edit::Remove(field(name)))
                .collect();
            edits.push(set("part", name));
            (part.charge, edits)
        }
    } else {
        let mut known: Vec<String> = size.cartridges.keys().cloned().collect();
        known.extend(CARTRIDGES.iter().map(|part| part.name.to_owned()));
        let problem = Problem::UnknownPart {
            kind: "cartridge",
            name: name.to_owned(),
            known,
        };
        return Err(document.error_at(place, problem));
    };
    Ok(ChoiceOption {
        label: name.to_owned(),
        charge: central(charge, Dimension::Mass),
        number: None,
        edits,
    })
}

fn numbers(
    document: &Document,
    design: &DesignSection,
    at: &str,
    vessel: &str,
    list: &[Text],
) -> Result<Choice, DesignError> {
    let mut paths = Vec::new();
    for path in names_in_order(document, "paths", &design.paths) {
        if let Some(section) = design.paths.get(&path) {
            for (end, name) in [("from", &section.from), ("to", &section.to)] {
                if name.0.trim() == vessel {
                    paths.push((path.clone(), end));
                }
            }
        }
    }
    let mut options = Vec::with_capacity(list.len());
    for (index, text) in list.iter().enumerate() {
        let place = format!("{at}.number.{index}");
        let number = count(document, &place, text, MOST_CARTRIDGES)?;
        let edits = if number > 1 {
            vec![Edit::Multiply {
                vessel: vessel.to_owned(),
                paths: paths.clone(),
                number,
            }]
        } else {
            Vec::new()
        };
        for copy in 2..=number {
            let taken = design.vessels.contains_key(&twin(vessel, copy))
                || paths
                    .iter()
                    .any(|(path, _)| design.paths.contains_key(&twin(path, copy)));
            if taken {
                return Err(conflict(
                    document,
                    &place,
                    format!(
                        "the names `{}` for more cartridges are taken",
                        twin(vessel, copy)
                    ),
                    "rename the vessels or paths that end in a number",
                ));
            }
        }
        options.push(ChoiceOption {
            number: Some(number),
            ..plain(number.to_string(), edits)
        });
    }
    Ok(Choice {
        name: format!("number of {vessel}s"),
        options,
    })
}
