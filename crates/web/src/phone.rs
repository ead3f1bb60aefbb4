//! A phone on the same network, let in by a code that is shown on the screen.
//!
//! The code is good once, for ten minutes, and for five tries; after that a new
//! one is made. Who typed it right gets a cookie of this run. Nothing here is
//! reached unless the program was started with the option for it.

use crate::token::{readable_code, same, secret};
use app::AppError;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// How long a code is good.
const GOOD_FOR: Duration = Duration::from_secs(600);
/// Wrong tries after which a code is thrown away.
const MOST_TRIES: u32 = 5;
/// The cookie of a phone that was let in.
pub(crate) const COOKIE: &str = "let-in";

/// Who may come in from the network.
#[derive(Debug)]
pub(crate) struct Phones {
    inner: Mutex<Inner>,
}

#[derive(Debug)]
struct Inner {
    code: String,
    made: Instant,
    tries: u32,
    let_in: Vec<String>,
}

impl Phones {
    pub(crate) fn new() -> Result<Self, AppError> {
        Ok(Self {
            inner: Mutex::new(Inner {
                code: readable_code()?,
                made: Instant::now(),
                tries: 0,
                let_in: vec![],
            }),
        })
    }

    /// Gives the code to be typed, a new one where the last is no longer good.
    pub(crate) fn code(&self) -> Result<String, AppError> {
        let mut inner = self.lock();
        inner.renewed_where_old()?;
        Ok(inner.code.clone())
    }

    /// Tries a code; gives the cookie's value where it is right.
    pub(crate) fn try_code(&self, typed: &str) -> Result<Option<String>, AppError> {
        let mut inner = self.lock();
        inner.renewed_where_old()?;
        let typed: String = typed.split_whitespace().collect::<String>().to_lowercase();
        if !same(&typed, &inner.code) {
            inner.tries += 1;
            return Ok(None);
        }
        let cookie = secret()?;
        inner.let_in.push(cookie.clone());
        inner.renew()?;
        Ok(Some(cookie))
    }

    /// Whether a cookie is one that was given.
    pub(crate) fn knows(&self, cookie: &str) -> bool {
        self.lock().let_in.iter().any(|known| same(known, cookie))
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Inner> {
        // A panic elsewhere leaves nothing half done in here.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inner {
    fn renewed_where_old(&mut self) -> Result<(), AppError> {
        if self.tries >= MOST_TRIES || self.made.elapsed() > GOOD_FOR {
            self.renew()?;
        }
        Ok(())
    }

    fn renew(&mut self) -> Result<(), AppError> {
        self.code = readable_code()?;
        self.made = Instant::now();
        self.tries = 0;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_good_once() {
        let phones = Phones::new().unwrap();
        let code = phones.code().unwrap();
        let cookie = phones.try_code(&code.to_uppercase()).unwrap().unwrap();
        assert!(phones.knows(&cookie));
        assert!(!phones.knows(""));
        assert_eq!(phones.try_code(&code).unwrap(), None);
    }

    #[test]
    fn five_wrong_tries_make_a_new_code() {
        let phones = Phones::new().unwrap();
        let code = phones.code().unwrap();
        for _ in 0..5 {
            assert_eq!(phones.try_code("00000000").unwrap(), None);
        }
        assert_ne!(phones.code().unwrap(), code);
        assert_eq!(phones.try_code(&code).unwrap(), None);
    }
}
