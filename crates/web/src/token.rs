//! Words that nobody can guess.

use app::AppError;

/// Letters of a code that is read off a screen: no letter that looks like another.
const READABLE: &[u8] = b"23456789abcdefghjkmnpqrstuvwxyz";

/// Gives 128 random bits as 32 hex digits.
///
/// # Errors
/// [`AppError`] when the system gives no random numbers.
pub(crate) fn secret() -> Result<String, AppError> {
    let mut bytes = [0_u8; 16];
    fill(&mut bytes)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// Gives a code of eight letters, about 39 bits, to be typed once.
///
/// # Errors
/// [`AppError`] when the system gives no random numbers.
pub(crate) fn readable_code() -> Result<String, AppError> {
    let mut code = String::new();
    while code.len() < 8 {
        let mut byte = [0_u8; 1];
        fill(&mut byte)?;
        // 31 letters into 248 values; the rest is drawn again, so that all are equally likely.
        let place = usize::from(byte[0]);
        if place < READABLE.len() * 8 {
            code.push(char::from(READABLE[place % READABLE.len()]));
        }
    }
    Ok(code)
}

fn fill(bytes: &mut [u8]) -> Result<(), AppError> {
    getrandom::fill(bytes).map_err(|e| {
        AppError::new(
            format!("the system gives no random numbers: {e}"),
            "pages can't be kept safe without them",
        )
    })
}

/// Compares without telling by its time where two words part.
pub(crate) fn same(one: &str, other: &str) -> bool {
    let (one, other) = (one.as_bytes(), other.as_bytes());
    one.len() == other.len() && one.iter().zip(other).fold(0, |d, (a, b)| d | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_differ_and_codes_can_be_read() {
        assert_ne!(secret().unwrap(), secret().unwrap());
        let code = readable_code().unwrap();
        assert_eq!(code.len(), 8);
        assert!(code.bytes().all(|b| READABLE.contains(&b)), "{code}");
    }

    #[test]
    fn only_the_same_word_is_the_same() {
        assert!(same("abc", "abc"));
        assert!(!same("abc", "abd"));
        assert!(!same("abc", "abcd"));
        assert!(!same("", "a"));
    }
}
