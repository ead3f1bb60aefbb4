//! Names of filters and lights as a reader is shown them: `715:50%` is 715 nm (50 %).
//!
//! What is typed and what JSON holds keeps the short form; this is for headings, figures
//! and sentences. A name that is none of the short forms is shown as it is.

/// A filter by its edge, or by its number in the published table.
pub(crate) fn shown_filter(name: &str) -> String {
    let Some((before, after)) = name.split_once(':') else {
        return name.to_owned();
    };
    if before == "gelatin" {
        return format!("gelatin {after}");
    }
    let level = match after {
        "50%" => "50 %",
        "10%" => "10 %",
        "1%" => "1 %",
        "half-peak" => "half of peak",
        "-3stops" => "3 stops under peak",
        _ => return name.to_owned(),
    };
    if before.parse::<f64>().is_ok() {
        format!("{before} nm ({level})")
    } else {
        name.to_owned()
    }
}

/// A light by its sky and the sun's height, or by its colour temperature.
pub(crate) fn shown_light(name: &str) -> String {
    let Some((word, number)) = name.split_once(':') else {
        return match name {
            "illuminant-a" => "illuminant A".to_owned(),
            _ => name.to_owned(),
        };
    };
    if number.parse::<f64>().is_err() {
        return name.to_owned();
    }
    let words = word.replace('-', " ");
    match word {
        "daylight" | "tungsten" => format!("{words} {number} K"),
        "sun" => format!("clear sun {number}° high"),
        _ => format!("{words}, sun {number}° high"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_forms_are_told_in_words_and_other_names_as_they_are() {
        for (name, words) in [
            ("715:50%", "715 nm (50 %)"),
            ("720:half-peak", "720 nm (half of peak)"),
            ("708:-3stops", "708 nm (3 stops under peak)"),
            ("gelatin:89B", "gelatin 89B"),
            ("720", "720"),
            ("r715", "r715"),
            ("my: filter", "my: filter"),
            ("my:50%", "my:50%"),
        ] {
            assert_eq!(shown_filter(name), words);
        }
        for (name, words) in [
            ("sun:35", "clear sun 35° high"),
            ("open-shade:20", "open shade, sun 20° high"),
            ("daylight:5500", "daylight 5500 K"),
            ("illuminant-a", "illuminant A"),
            ("lamp of mine", "lamp of mine"),
        ] {
            assert_eq!(shown_light(name), words);
        }
    }
}
