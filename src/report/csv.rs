//! A discharge as a table: one row per time, columns named with their SI units.

use crate::discharge::Discharge;

use super::ReportError;

/// The table. An event may show as two rows of one time, before and after.
///
/// # Errors
/// [`ReportError::Table`] if it cannot be written.
pub fn discharge(discharge: &Discharge) -> Result<String, ReportError> {
    let trajectory = &discharge.trajectory;
    let mut columns: Vec<(String, &[f64])> = vec![("time_s".to_owned(), &trajectory.times)];
    for vessel in &trajectory.vessels {
        let name = &vessel.name;
        columns.push((format!("{name}.pressure_pa"), &vessel.pressure));
        columns.push((format!("{name}.temperature_k"), &vessel.temperature));
        columns.push((format!("{name}.co2_mass_kg"), &vessel.co2_mass));
        columns.push((format!("{name}.air_mass_kg"), &vessel.air_mass));
        columns.push((format!("{name}.solid_kg"), &vessel.solid_mass));
        columns.push((format!("{name}.liquid_kg"), &vessel.liquid_mass));
        if !vessel.wall_temperature.is_empty() {
            let wall = &vessel.wall_temperature;
            columns.push((format!("{name}.wall_temperature_k"), wall));
        }
    }
    for path in &trajectory.paths {
        let name = &path.name;
        columns.push((format!("{name}.mass_flow_kg_s"), &path.mass_flow));
        columns.push((format!("{name}.open_area_m2"), &path.open_area));
    }
    if let Some(nose) = &trajectory.nose {
        columns.push(("nose.travel_m".to_owned(), &nose.travel));
        columns.push(("nose.speed_m_s".to_owned(), &nose.speed));
        columns.push(("nose.opening_force_n".to_owned(), &nose.opening_force));
        columns.push(("nose.tether_tension_n".to_owned(), &nose.tether_tension));
    }
    let flags = trajectory
        .paths
        .iter()
        .map(|path| format!("{}.choked", path.name));
    let names = columns.iter().map(|column| column.0.clone());
    let head: Vec<String> = names.chain(flags).collect();
    let rows = (0..trajectory.times.len()).map(|index| {
        let numbers = columns
            .iter()
            .map(|column| column.1.get(index).map_or(String::new(), f64::to_string));
        let flags = trajectory.paths.iter().map(|path| {
            path.choked
                .get(index)
                .map_or(String::new(), bool::to_string)
        });
        numbers.chain(flags).collect()
    });
    Ok(table(std::iter::once(head).chain(rows))?)
}

/// Rows of cells as text, quoted where they must be.
pub(super) fn table(rows: impl IntoIterator<Item = Vec<String>>) -> Result<String, ::csv::Error> {
    let mut writer = ::csv::WriterBuilder::new()
        .flexible(true)
        .from_writer(Vec::new());
    for row in rows {
        writer.write_record(&row)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| ::csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
