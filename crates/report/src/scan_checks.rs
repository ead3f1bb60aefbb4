//! The table of honesty checks: each check by name, how it ended for each scan.
//!
//! Scans that a check tells the same of share a row, so that the table stays as
//! long as what there is to tell. It is folded under one line, and open in print.

use crate::table::Table;
use crate::words::{capital, counted, folding, sentence};
use crate::{CheckOutcome, CheckTold, ScanSummary};
use maud::{Markup, html};

/// Scans of which one check tells the same.
struct Row<'a> {
    told: &'a CheckTold,
    scans: Vec<&'a str>,
}

pub(crate) fn checks(scans: &[ScanSummary]) -> Markup {
    let rows = rows(scans);
    if rows.is_empty() {
        return html! {};
    }
    let table = Table::<&Row<'_>>::new()
        .name("Check", |row| capital(&row.told.check))
        .words("Outcome", |row| outcome(row.told))
        .phrase("Scans", |row| scans_words(row, &rows, scans.len()))
        .sentences("Evidence, or why not", |row| evidence(row.told))
        .words("For densities", |row| match row.told.outcome {
            CheckOutcome::NotLooked => "–".to_owned(),
            _ => capital(row.told.follows),
        })
        .of(&rows);
    html! {
        details.checks {
            summary { (summary(scans)) }
            (folding("check-rows", table))
        }
    }
}

fn outcome(told: &CheckTold) -> Markup {
    let words = capital(told.words);
    html! {
        @if told.outcome == CheckOutcome::Found { b { (words) } } @else { (words) }
    }
}

fn evidence(told: &CheckTold) -> Markup {
    html! {
        @if told.outcome == CheckOutcome::Found { (sentence(told.meaning)) " " }
        @if told.evidence.is_empty() { "–" } @else { (sentence(&told.evidence)) }
    }
}

/// One row for each check and each thing it tells, in the order of the checks.
fn rows(scans: &[ScanSummary]) -> Vec<Row<'_>> {
    let mut of_check: Vec<(&str, Vec<Row<'_>>)> = vec![];
    for scan in scans {
        for told in &scan.checks {
            let place = of_check.iter().position(|(check, _)| *check == told.check);
            let place = place.unwrap_or_else(|| {
                of_check.push((&told.check, vec![]));
                of_check.len() - 1
            });
            let rows = &mut of_check[place].1;
            match rows.iter_mut().find(|row| row.told == told) {
                Some(row) => row.scans.push(scan.scan.as_str()),
                None => rows.push(Row {
                    told,
                    scans: vec![scan.scan.as_str()],
                }),
            }
        }
    }
    of_check
        .into_iter()
        .flat_map(|(_, mut rows)| {
            rows.sort_by_key(|row| match row.told.outcome {
                CheckOutcome::Found => 0,
                CheckOutcome::NotLooked => 1,
                CheckOutcome::NothingFound => 2,
            });
            rows
        })
        .collect()
}

/// Names the scans of a row: `all 9`, `the other 7`, or by name.
fn scans_words(row: &Row<'_>, rows: &[Row<'_>], all: usize) -> String {
    let of_check = || rows.iter().filter(|r| r.told.check == row.told.check);
    let told: usize = of_check().map(|r| r.scans.len()).sum();
    let most = of_check().map(|r| r.scans.len()).max() == Some(row.scans.len())
        && of_check().all(|r| core::ptr::eq(r, row) || r.scans.len() < row.scans.len());
    match row.scans.len() {
        n if n == all && n > 1 => format!("all {n}"),
        n if told == all && most && n > 3 => format!("the other {n}"),
        _ => row.scans.join(", "),
    }
}

/// How many checks, scans and findings there are.
fn summary(scans: &[ScanSummary]) -> String {
    let count = |outcome| {
        scans
            .iter()
            .flat_map(|s| &s.checks)
            .filter(|c| c.outcome == outcome)
            .count()
    };
    let checks = scans.iter().map(|s| s.checks.len()).max().unwrap_or(0);
    let found = match count(CheckOutcome::Found) {
        0 => "no finding".to_owned(),
        n => counted(n, "finding"),
    };
    let mut words = format!(
        "{} of {}: {found}",
        counted(checks, "honesty check"),
        counted(scans.len(), "scan"),
    );
    let not_looked = count(CheckOutcome::NotLooked);
    if not_looked > 0 {
        words += &format!(
            ", {} could not look",
            if not_looked == 1 {
                "1 time a check".to_owned()
            } else {
                format!("{not_looked} times a check")
            }
        );
    }
    words
}
