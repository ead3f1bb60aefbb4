//! Files, version, commands and flags: what is needed to work it out again.

use crate::table::Table;
use crate::words::{flag_words, name, sentence, wide};
use crate::{ReportInput, ScanSummary};
use maud::{Markup, html};
use quantity::Flag;
use std::collections::BTreeSet;

pub(super) fn files(input: &ReportInput<'_>) -> Markup {
    let table = Table::<&ScanSummary>::new()
        .name("Scan", |s| name(&s.scan))
        .text("File", |s| &s.file)
        .checksum("SHA-256", |s| &s.sha256)
        .of(&input.scans);
    html! {
        @if !input.scans.is_empty() { h3 { "Files of the scans" } (wide("Files of the scans", table)) }
    }
}

pub(super) fn recompute(input: &ReportInput<'_>) -> Markup {
    let found = input.findings;
    html! {
        h3 { "To work it out again" }
        p {
            "Made with version " (input.version) ", method " (found.method) ". The same test folder gives the same findings"
            @if !input.scans.is_empty() { "; compare the files by their SHA-256 first" }
            "."
        }
        @if !input.recompute.is_empty() {
            pre { code { (input.recompute.join("\n")) } }
        }
    }
}

/// Every flag that the report shows anywhere, with its sentence.
pub(super) fn flags(input: &ReportInput<'_>) -> Markup {
    let found = input.findings;
    let mut seen: BTreeSet<Flag> = BTreeSet::new();
    seen.extend(found.flags.iter());
    for c in &found.curves {
        seen.extend(c.flags.iter());
        seen.extend(c.criteria.iter().flat_map(|r| r.flags.iter()));
    }
    for f in &found.frames {
        seen.extend(f.flags.iter());
        seen.extend(f.patches.iter().flat_map(|p| p.reading.flags().iter()));
    }
    seen.extend(found.factors.iter().flat_map(|f| f.flags.iter()));
    seen.extend(found.speeds.iter().flat_map(|s| s.flags.iter()));
    seen.extend(found.wood_effect.iter().flat_map(|w| w.flags.iter()));
    seen.extend(found.readings.iter().flat_map(|r| r.value.flags().iter()));
    seen.extend(
        input
            .scans
            .iter()
            .flat_map(|s| s.flags.iter().map(|f| f.flag)),
    );
    html! {
        @if !seen.is_empty() {
            h3 { "Flags in this report" }
            dl {
                @for flag in &seen {
                    dt { (flag_words(*flag)) }
                    dd { (sentence(flag.meaning())) }
                }
            }
        }
    }
}
