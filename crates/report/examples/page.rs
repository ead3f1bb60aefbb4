//! Writes the report of an invented test to standard output, to be looked at.

#[expect(
    clippy::unwrap_used,
    reason = "shared with the tests, where a broken fixture may panic"
)]
#[path = "../tests/fixture/mod.rs"]
mod fixture;

use std::io::Write as _;

fn main() -> std::io::Result<()> {
    let title = "Pan 400 behind a 715 filter in clear sun";
    let (test, findings) = (fixture::test(title), fixture::findings(title));
    let page = report::html(&fixture::input(&test, &findings));
    std::io::stdout().write_all(page.as_bytes())
}
