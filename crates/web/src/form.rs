//! Fields of a form as they are sent.

/// Reads `a=b&c=d` as forms send it; bytes that are no UTF-8 become signs of it.
pub(crate) fn fields(bytes: &[u8]) -> Vec<(String, String)> {
    bytes
        .split(|b| *b == b'&')
        .filter(|pair| !pair.is_empty())
        .map(|pair| {
            let at = pair.iter().position(|b| *b == b'=').unwrap_or(pair.len());
            (
                decoded(&pair[..at]),
                decoded(pair.get(at + 1..).unwrap_or(&[])),
            )
        })
        .collect()
}

/// Gives the first field of a name; empty when there is none.
pub(crate) fn field<'a>(fields: &'a [(String, String)], name: &str) -> &'a str {
    fields
        .iter()
        .find(|(n, _)| n == name)
        .map_or("", |(_, value)| value.as_str())
}

fn decoded(bytes: &[u8]) -> String {
    let digit = |at: usize| bytes.get(at).and_then(|b| char::from(*b).to_digit(16));
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while let Some(byte) = bytes.get(at) {
        at += 1;
        match (byte, digit(at), digit(at + 1)) {
            (b'+', _, _) => out.push(b' '),
            (b'%', Some(high), Some(low)) => {
                // Two hex digits fit a byte.
                out.push((high * 16 + low) as u8);
                at += 2;
            }
            _ => out.push(*byte),
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}

/// Writes one part of a path or query so that it stays one part.
pub(crate) fn encoded(text: &str) -> String {
    text.bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => {
                char::from(b).to_string()
            }
            _ => format!("%{b:02X}"),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_decoded_and_broken_ones_are_kept() {
        let read = fields(b"a=1+2&b=%C3%A9&c&d=%zz&=x&a=3");
        assert_eq!(field(&read, "a"), "1 2");
        assert_eq!(field(&read, "b"), "é");
        assert_eq!(field(&read, "c"), "");
        assert_eq!(field(&read, "d"), "%zz");
        assert_eq!(field(&read, "none"), "");
    }

    #[test]
    fn a_name_stays_one_part_of_a_path() {
        assert_eq!(encoded("a/b ?é"), "a%2Fb%20%3F%C3%A9");
    }
}
