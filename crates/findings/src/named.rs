//! Records named in sentences, without a word said twice: a film called `film-2` is
//! `film-2`, one called `pan` is `film pan`.

/// Names a record of a kind; a name that holds the word for the kind already stands alone.
pub(crate) fn named(kind: &str, name: impl core::fmt::Display) -> String {
    let name = name.to_string();
    let mut words = name.split(|c: char| !c.is_alphabetic());
    if words.any(|word| word.eq_ignore_ascii_case(kind)) {
        name
    } else {
        format!("{kind} {name}")
    }
}

#[cfg(test)]
mod tests {
    use super::named;

    #[test]
    fn no_word_is_said_twice() {
        for (kind, name, words) in [
            ("film", "film", "film"),
            ("film", "pan", "film pan"),
            ("light", "light-2", "light-2"),
            ("light", "lighthouse", "light lighthouse"),
            ("filter", "no filter", "no filter"),
            ("filter", "filter + red", "filter + red"),
        ] {
            assert_eq!(named(kind, name), words);
        }
    }
}
