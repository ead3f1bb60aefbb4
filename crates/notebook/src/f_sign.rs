//! An aperture as it is written by hand: `22`, `f/22`, `f22`.

/// Gives what stands behind the sign of an f-number; a text without one as it is.
///
/// Whether a number stands there is for the caller to read.
#[must_use]
pub fn without_f_sign(text: &str) -> &str {
    let text = text.trim();
    let Some(rest) = text.strip_prefix(['f', 'F', 'ƒ']) else {
        return text;
    };
    let rest = rest.trim_start();
    rest.strip_prefix('/').unwrap_or(rest).trim_start()
}

#[cfg(test)]
mod tests {
    use super::without_f_sign;

    #[test]
    fn the_sign_of_an_f_number_is_left_out_and_nothing_else() {
        // Ways of writing an aperture: common practice.
        for written in ["22", "f/22", "F/22", "f22", "f 22", "ƒ/22", " f / 22 "] {
            assert_eq!(without_f_sign(written), "22", "{written}");
        }
        assert_eq!(without_f_sign("f/5,6"), "5,6");
        for other in ["1/22", "half", "1:22", ""] {
            assert_eq!(without_f_sign(other), other);
        }
    }
}
