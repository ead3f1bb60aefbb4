//! The words for the samples of a pixel, in `test.toml` and on the command line alike.

use crate::keys::{Field, Reader, What, Written};
use core::num::NonZeroU8;
use record::Channel;
use serde_json::{Value, json};
use toml::Spanned;
use toml::de::DeValue;

/// Words without a number.
const PLAIN: [(&str, Channel); 7] = [
    ("suitable", Channel::Suitable),
    ("grey", Channel::Grey),
    ("red", Channel::Red),
    ("green", Channel::Green),
    ("blue", Channel::Blue),
    ("mean", Channel::Mean),
    ("infrared", Channel::Infrared),
];

/// Largest row and column of a mosaic's cell.
const CELL: u8 = 7;

/// Words with a number, as patterns of a whole word.
const NUMBERED: &str =
    "extra:([1-9][0-9]?|1[0-9]{2}|2[0-4][0-9]|25[0-5])|mosaic:[0-7],[0-7]|mosaic_[01][01]";

/// Gives the channel that a word stands for: `grey`, `infrared`, `extra:1`,
/// `mosaic:0,1`; `mosaic_01` is read as well. `None` when it is no such word.
#[must_use]
pub fn channel_of_word(word: &str) -> Option<Channel> {
    if let Some((_, channel)) = PLAIN.iter().find(|(plain, _)| *plain == word) {
        return Some(*channel);
    }
    if let Some(number) = word.strip_prefix("extra:") {
        return number.trim().parse::<NonZeroU8>().ok().map(Channel::Extra);
    }
    let (row, column) = match word.strip_prefix("mosaic:") {
        Some(place) => place.split_once(',')?,
        None => word.strip_prefix("mosaic_")?.split_at_checked(1)?,
    };
    let place = |text: &str| text.trim().parse::<u8>().ok().filter(|n| *n <= CELL);
    Some(Channel::MosaicPhase {
        row: place(row)?,
        column: place(column)?,
    })
}

/// Gives the word for a channel.
#[must_use]
pub fn word_of_channel(channel: Channel) -> String {
    match channel {
        Channel::Extra(number) => format!("extra:{number}"),
        Channel::MosaicPhase { row, column } => format!("mosaic:{row},{column}"),
        plain => PLAIN.iter().find(|(_, known)| *known == plain).map_or_else(
            || unreachable!("every channel without a number has its word in the list above"),
            |(word, _)| (*word).to_owned(),
        ),
    }
}

impl Field for Channel {
    fn expected() -> String {
        let plain: Vec<String> = PLAIN.iter().map(|(w, _)| format!("\"{w}\"")).collect();
        format!(
            "one of {}, \"extra:N\" (a sample beside the colours, from 1), \"mosaic:ROW,COLUMN\" (from 0)",
            plain.join(", ")
        )
    }
    fn schema() -> Value {
        let plain: Vec<&str> = PLAIN.iter().map(|(word, _)| *word).collect();
        json!({
            "type": "string",
            "pattern": format!("^({}|{NUMBERED})$", plain.join("|")),
        })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let read = value.get_ref().as_str().and_then(channel_of_word);
        if read.is_none() {
            let text = value.get_ref().as_str().unwrap_or_default();
            let meant = crate::problem::likely(text, PLAIN.iter().map(|(word, _)| *word));
            let remedy = match meant.first() {
                Some(word) => format!("did you mean \"{word}\"?"),
                None => "use one of these words, in quotes".to_owned(),
            };
            reader.mismatch(&value.span(), what, &Self::expected(), remedy);
        }
        read
    }
    fn written(&self) -> Written {
        Written::Inline(format!("\"{}\"", word_of_channel(*self)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_is_read_from_the_word_it_is_written_as() {
        let extra = (1..=255).filter_map(NonZeroU8::new).map(Channel::Extra);
        let mosaic = (0..=CELL)
            .flat_map(|row| (0..=CELL).map(move |column| Channel::MosaicPhase { row, column }));
        for channel in PLAIN.map(|(_, c)| c).into_iter().chain(extra).chain(mosaic) {
            let word = word_of_channel(channel);
            assert_eq!(channel_of_word(&word), Some(channel), "{word}");
        }
    }

    #[test]
    fn earlier_words_of_a_mosaic_stand_and_others_are_refused() {
        let phase = |row, column| Some(Channel::MosaicPhase { row, column });
        assert_eq!(channel_of_word("mosaic_01"), phase(0, 1));
        assert_eq!(channel_of_word("mosaic:7, 3"), phase(7, 3));
        for word in [
            "",
            "ir",
            "Infrared",
            "extra",
            "extra:",
            "extra:0",
            "extra:256",
            "extra:-1",
            "mosaic",
            "mosaic:8,0",
            "mosaic:1",
            "mosaic_",
            "mosaic_0",
            "mosaic_0é",
        ] {
            assert_eq!(channel_of_word(word), None, "{word}");
        }
    }
}
