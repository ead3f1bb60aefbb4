//! The index of a test, filled from its checked records.

use crate::checked::{Checked, check};
use crate::documents::Documents;
use crate::store::NotebookError;
use crate::store::content::documents;
use crate::store::error::Doing;
use crate::store::overview::joined;
use record::{Exposure, TestParts};
use rusqlite::{Connection, params};

const DOING: &str = "making the index of a test";

/// Makes the index of every test again.
pub(crate) fn index_all(connection: &Connection) -> Result<(), NotebookError> {
    let tests: Vec<(i64, u32, String)> = {
        let mut statement = connection
            .prepare(
                "SELECT test.id, test.revision, revision.at FROM test JOIN revision
                 ON revision.test = test.id AND revision.number = test.revision",
            )
            .doing(DOING)?;
        let rows = statement
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
            .doing(DOING)?;
        rows.collect::<Result<_, _>>().doing(DOING)?
    };
    for (test, revision, at) in tests {
        index_test(
            connection,
            test,
            &documents(connection, test, revision)?,
            &at,
        )?;
    }
    Ok(())
}

/// Makes the index of one test again.
pub(crate) fn index_test(
    connection: &Connection,
    test: i64,
    documents: &Documents,
    changed_at: &str,
) -> Result<(), NotebookError> {
    let checked = check(documents);
    remove(connection, test)?;
    let parts = &checked.parts;
    let counted = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
    let title = checked.title();
    connection
        .prepare_cached(
            "INSERT INTO overview (test, title, stage, changed_at, invented, frames, planned,
             scans, readings, problems, films, filters, batches, places)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        )
        .doing(DOING)?
        .execute(params![
            test,
            title,
            checked.stage().word(),
            changed_at,
            parts.invented,
            counted(parts.frames.len()),
            counted(checked.planned.len()),
            counted(parts.scans.len()),
            counted(measurable(parts)),
            counted(checked.problem_count()),
            joined(parts.films.iter().map(|film| film.name.as_str())),
            joined(parts.filters.iter().map(|filter| filter.name.as_str())),
            joined(parts.films.iter().filter_map(|film| film.batch.as_deref())),
            joined(
                parts
                    .lights
                    .iter()
                    .filter_map(|light| light.place.as_deref())
            ),
        ])
        .doing(DOING)?;
    records(connection, test, parts)?;
    words(connection, test, &title, &checked)
}

/// Patches that are outlined, and readings that are written.
fn measurable(parts: &TestParts) -> usize {
    parts.readings.len() + parts.patches.iter().filter(|p| p.place.is_some()).count()
}

fn remove(connection: &Connection, test: i64) -> Result<(), NotebookError> {
    for sql in [
        "DELETE FROM search WHERE rowid IN (SELECT id FROM search_row WHERE test = ?1)",
        "DELETE FROM search_row WHERE test = ?1",
        "DELETE FROM overview WHERE test = ?1",
        "DELETE FROM film WHERE test = ?1",
        "DELETE FROM filter WHERE test = ?1",
        "DELETE FROM light WHERE test = ?1",
        "DELETE FROM frame WHERE test = ?1",
    ] {
        connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.execute([test]))
            .doing(DOING)?;
    }
    Ok(())
}

fn records(connection: &Connection, test: i64, parts: &TestParts) -> Result<(), NotebookError> {
    // A draft may name two records alike: the first one stands in the index.
    let mut insert = connection
        .prepare_cached(
            "INSERT OR IGNORE INTO film (test, id, name, format, box_speed, batch)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )
        .doing(DOING)?;
    for film in &parts.films {
        insert
            .execute(params![
                test,
                film.id.as_str(),
                film.name,
                film.format,
                film.box_speed.map(quantity::ExposureIndex::to_arithmetic),
                film.batch
            ])
            .doing(DOING)?;
    }
    let mut insert = connection
        .prepare_cached(
            "INSERT OR IGNORE INTO filter (test, id, name, marking, edge_nm)
             VALUES (?1, ?2, ?3, ?4, ?5)",
        )
        .doing(DOING)?;
    for filter in &parts.filters {
        insert
            .execute(params![
                test,
                filter.id.as_str(),
                filter.name,
                filter.marking,
                filter.edge.map(|edge| edge.wavelength.to_nm())
            ])
            .doing(DOING)?;
    }
    let mut insert = connection
        .prepare_cached(
            "INSERT OR IGNORE INTO light (test, id, sky, place, time) VALUES (?1, ?2, ?3, ?4, ?5)",
        )
        .doing(DOING)?;
    for light in &parts.lights {
        insert
            .execute(params![
                test,
                light.id.as_str(),
                light.sky.words(),
                light.place,
                light.time
            ])
            .doing(DOING)?;
    }
    let mut insert = connection
        .prepare_cached(
            "INSERT INTO frame (test, position, id, role, film, filters, light, ei, exposed_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )
        .doing(DOING)?;
    for (position, frame) in (0_i64..).zip(&parts.frames) {
        let camera = match &frame.exposure {
            Exposure::Camera(camera) => Some(camera),
            _ => None,
        };
        insert
            .execute(params![
                test,
                position,
                frame.id.as_str(),
                frame.role.words(),
                frame.film.as_str(),
                joined(frame.filters.iter().map(record::Id::as_str)),
                camera.map(|camera| camera.light.as_str()),
                camera
                    .and_then(|camera| camera.ei)
                    .map(quantity::ExposureIndex::to_arithmetic),
                frame.exposed_at
            ])
            .doing(DOING)?;
    }
    Ok(())
}

/// What is found by words: the test, its films, filters and batches.
fn words(
    connection: &Connection,
    test: i64,
    title: &str,
    checked: &Checked,
) -> Result<(), NotebookError> {
    let parts = &checked.parts;
    let mut rows: Vec<(&str, String, String, String)> = Vec::new();
    let mut of_test = vec![title.to_owned()];
    of_test.extend(parts.purpose.clone());
    of_test.extend(parts.tester.clone());
    for light in &parts.lights {
        of_test.extend(light.place.clone());
        of_test.extend(light.remarks.clone());
    }
    for process in &parts.processes {
        of_test.push(process.developer.clone());
    }
    of_test.extend(
        parts
            .frames
            .iter()
            .filter_map(|frame| frame.remarks.clone()),
    );
    rows.push(("test", String::new(), title.to_owned(), of_test.join("\n")));
    for film in &parts.films {
        let words = format!(
            "{} {} {}",
            film.name,
            film.id,
            film.format.as_deref().unwrap_or_default()
        );
        rows.push(("film", film.id.to_string(), film.name.clone(), words));
        if let Some(batch) = &film.batch {
            rows.push((
                "batch",
                film.id.to_string(),
                format!("{batch} ({})", film.name),
                batch.clone(),
            ));
        }
    }
    for filter in &parts.filters {
        let words = format!(
            "{} {} {}",
            filter.name,
            filter.id,
            filter.marking.as_deref().unwrap_or_default()
        );
        rows.push(("filter", filter.id.to_string(), filter.name.clone(), words));
    }
    let mut row = connection
        .prepare_cached(
            "INSERT INTO search_row (test, kind, record, label) VALUES (?1, ?2, ?3, ?4)",
        )
        .doing(DOING)?;
    let mut search = connection
        .prepare_cached("INSERT INTO search (rowid, words) VALUES (?1, ?2)")
        .doing(DOING)?;
    for (kind, record, label, words) in rows {
        row.execute(params![test, kind, record, label])
            .doing(DOING)?;
        search
            .execute(params![connection.last_insert_rowid(), words])
            .doing(DOING)?;
    }
    Ok(())
}
