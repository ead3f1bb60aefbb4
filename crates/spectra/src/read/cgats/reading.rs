//! A CGATS text to one of its spectra.

use super::error::CgatsError;
use super::spectra::{Spectra, spectra_in};
use super::tables::{Table, tables};
use crate::read::answers::{Answers, Purpose, WavelengthUnit};
use crate::read::assemble::{Raw, assemble};
use crate::read::error::ReadError;
use crate::read::reading::SpectralReading;
use crate::read::stated::value_scale_in;
use crate::read::text::lines;

/// One spectrum that could be taken.
struct Candidate<'a> {
    table: &'a Table,
    spectra: &'a Spectra,
    row: usize,
    name: String,
}

/// The curve in a CGATS text.
pub(in crate::read) fn reading_from_cgats(
    text: &str,
    purpose: Purpose,
    answers: &Answers,
) -> Result<SpectralReading, ReadError> {
    let all = tables(&lines(text))?;
    let mut found = vec![];
    for table in &all {
        if let Some(spectra) = spectra_in(table)? {
            found.push((table, spectra));
        }
    }
    if found.is_empty() {
        let fields: Vec<&str> = all
            .iter()
            .flat_map(|table| table.fields.iter().map(String::as_str))
            .take(40)
            .collect();
        return Err(CgatsError::NoSpectra {
            fields: fields.join(" "),
        }
        .into());
    }
    let candidates = candidates(&found);
    let chosen = chosen(&candidates, answers)?;
    let rows = chosen.spectra.points(chosen.table, chosen.row)?;
    let scale = chosen.spectra.scale().and_then(|scale| {
        // Heights of films and lights are free, so per cent of them are linear.
        purpose
            .scales()
            .contains(&scale)
            .then_some(scale)
            .or_else(|| value_scale_in("percent", purpose))
    });
    let raw = Raw {
        title: chosen.table.title.clone(),
        taken: chosen.name.clone(),
        rows,
        unit_said: Some(WavelengthUnit::Nanometres),
        scale_said: scale.map(|scale| (scale, None)),
        notices: vec![],
    };
    assemble(raw, purpose, answers)
}

fn candidates<'a>(found: &'a [(&'a Table, Spectra)]) -> Vec<Candidate<'a>> {
    let mut candidates = vec![];
    for (number, (table, spectra)) in found.iter().enumerate() {
        if spectra.one_to_a_row() {
            candidates.extend((0..table.rows.len()).map(|row| Candidate {
                table,
                spectra,
                row,
                name: table.sample(row),
            }));
        } else {
            let name = table
                .title
                .clone()
                .unwrap_or_else(|| format!("table {}", number + 1));
            candidates.push(Candidate {
                table,
                spectra,
                row: 0,
                name,
            });
        }
    }
    candidates
}

fn chosen<'c, 'a>(
    candidates: &'c [Candidate<'a>],
    answers: &Answers,
) -> Result<&'c Candidate<'a>, ReadError> {
    let parts = || {
        candidates
            .iter()
            .enumerate()
            .map(|(index, candidate)| (index + 1, candidate.name.clone()))
            .collect::<Vec<_>>()
    };
    match (candidates, &answers.part) {
        ([], _) => Err(ReadError::TooFewPoints { found: 0 }),
        ([only], None) => Ok(only),
        (_, None) => Err(ReadError::WhichPart { parts: parts() }),
        (_, Some(asked)) => {
            let wanted = asked.trim();
            let named: Vec<&Candidate<'_>> = candidates
                .iter()
                .filter(|candidate| candidate.name.eq_ignore_ascii_case(wanted))
                .collect();
            if let [only] = named.as_slice() {
                return Ok(only);
            }
            wanted
                .parse::<usize>()
                .ok()
                .and_then(|number| candidates.get(number.checked_sub(1)?))
                .ok_or_else(|| ReadError::NoSuchPart {
                    asked: asked.clone(),
                    parts: parts(),
                })
        }
    }
}
