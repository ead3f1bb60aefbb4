//! Texts from outside on a line with other words: what would turn those is kept out.
//!
//! A page keeps names apart by its markup; drawings and titles have no such way.

/// Whether a character turns the direction of what follows it on the line: the embeddings,
/// overrides and isolates of the Unicode bidirectional algorithm and their ends.
///
/// # References
/// Unicode Standard Annex #9, sections "Explicit Directional Embeddings", "Overrides" and
/// "Isolates".
#[must_use]
pub(crate) fn turns_direction(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A text for a line that holds other words too and has no way to keep it apart from
/// them: without the characters that would turn those.
#[must_use]
pub fn in_line(text: &str) -> String {
    text.chars().filter(|c| !turns_direction(*c)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_does_not_turn_what_follows_it() {
        // U+202E, right-to-left override: "Pan" and then "001" read backwards.
        assert_eq!(in_line("Pan \u{202e}001\u{202c}"), "Pan 001");
        // Letters that run from right to left by themselves stay.
        assert_eq!(in_line("שלום 100"), "שלום 100");
    }
}
