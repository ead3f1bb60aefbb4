//! Bytes to lines: encodings and line ends that measuring programs leave behind.
//!
//! UTF-8 with or without its mark, UTF-16 with its mark, and otherwise Latin-1,
//! where every byte is a character (µ and Å are the ones that matter). Lines end
//! by LF, CR LF, or the CR of old Macintosh files.

use super::error::ReadError;

/// One line of a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Line<'a> {
    /// Counted from 1.
    pub number: usize,
    /// Without its end.
    pub text: &'a str,
}

/// The text of a file.
///
/// # Errors
/// [`ReadError::NotText`] when there is a zero byte, as in pictures and workbooks.
pub(super) fn text_from_bytes(bytes: &[u8]) -> Result<String, ReadError> {
    let text = match bytes {
        [0xFF, 0xFE, rest @ ..] => from_utf16(rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => from_utf16(rest, u16::from_be_bytes),
        [0xEF, 0xBB, 0xBF, rest @ ..] => from_bytes(rest),
        _ => from_bytes(bytes),
    };
    match text.bytes().position(|byte| byte == 0) {
        Some(at) => Err(ReadError::NotText { at }),
        None => Ok(text),
    }
}

fn from_bytes(bytes: &[u8]) -> String {
    core::str::from_utf8(bytes).map_or_else(
        |_| bytes.iter().map(|byte| char::from(*byte)).collect(),
        str::to_owned,
    )
}

fn from_utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> String {
    let units = bytes.chunks_exact(2).map(|pair| unit([pair[0], pair[1]]));
    char::decode_utf16(units)
        .map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER))
        .collect()
}

/// The lines of a text, whatever ends them.
pub(super) fn lines(text: &str) -> Vec<Line<'_>> {
    let mut lines = vec![];
    let mut rest = text;
    let mut number = 1;
    while !rest.is_empty() {
        let end = rest.find(['\n', '\r']).unwrap_or(rest.len());
        lines.push(Line {
            number,
            text: &rest[..end],
        });
        number += 1;
        rest = &rest[end..];
        rest = rest
            .strip_prefix("\r\n")
            .or_else(|| rest.strip_prefix(['\r', '\n']))
            .unwrap_or(rest);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_in_each_of_the_three_ways() {
        let texts: Vec<&str> = lines("a\nb\r\nc\rd\n\ne")
            .iter()
            .map(|line| line.text)
            .collect();
        assert_eq!(texts, ["a", "b", "c", "d", "", "e"]);
        assert_eq!(
            lines("a\r\rb")[2],
            Line {
                number: 3,
                text: "b"
            }
        );
    }

    #[test]
    fn encodings_give_the_same_text() {
        for bytes in [
            &b"\xEF\xBB\xBF\xC2\xB5m"[..],
            b"\xC2\xB5m",
            b"\xB5m",
            b"\xFF\xFE\xB5\x00m\x00",
            b"\xFE\xFF\x00\xB5\x00m",
        ] {
            assert_eq!(text_from_bytes(bytes), Ok("µm".to_owned()), "{bytes:?}");
        }
        assert_eq!(text_from_bytes(b"II*\0"), Err(ReadError::NotText { at: 3 }));
    }
}
