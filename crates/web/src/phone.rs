//! A phone on the same network, let in by a code that is shown on the screen.
//!
//! The code is good once, for ten minutes, and for five tries; after that a new
//! one is made, and shown. Who typed it right gets a cookie of this run. Nothing here is
//! reached unless the program was started with the option for it.

use crate::token::{readable_code, same, secret};
use app::AppError;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::watch;

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
    /// The code that is good now, for whoever shows it.
    shown: watch::Sender<String>,
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
        let code = readable_code()?;
        Ok(Self {
            shown: watch::Sender::new(code.clone()),
            inner: Mutex::new(Inner {
                code,
                made: Instant::now(),
                tries: 0,
                let_in: vec![],
            }),
        })
    }

    /// Gives the code to be typed, a new one where the last is no longer good.
    pub(crate) fn code(&self) -> Result<String, AppError> {
        let mut inner = self.lock();
        self.renew_where_old(&mut inner)?;
        Ok(inner.code.clone())
    }

    /// Tells each new code to whoever shows it.
    pub(crate) fn shown(&self) -> watch::Receiver<String> {
        self.shown.subscribe()
    }

    /// Tries a code; gives the cookie's value where it is right.
    pub(crate) fn try_code(&self, typed: &str) -> Result<Option<String>, AppError> {
        let mut inner = self.lock();
        self.renew_where_old(&mut inner)?;
        let typed: String = typed.split_whitespace().collect::<String>().to_lowercase();
        if !same(&typed, &inner.code) {
            inner.tries += 1;
            // Made at once, so that who mistyped it sees the one that is good now.
            self.renew_where_old(&mut inner)?;
            return Ok(None);
        }
        let cookie = secret()?;
        inner.let_in.push(cookie.clone());
        self.renew(&mut inner)?;
        Ok(Some(cookie))
    }

    /// Whether a cookie is one that was given.
    pub(crate) fn knows(&self, cookie: &str) -> bool {
        self.lock().let_in.iter().any(|known| same(known, cookie))
    }

    fn renew_where_old(&self, inner: &mut Inner) -> Result<(), AppError> {
        if inner.tries >= MOST_TRIES || inner.made.elapsed() > GOOD_FOR {
            self.renew(inner)?;
        }
        Ok(())
    }

    fn renew(&self, inner: &mut Inner) -> Result<(), AppError> {
        inner.code = readable_code()?;
        inner.made = Instant::now();
        inner.tries = 0;
        self.shown.send_replace(inner.code.clone());
        Ok(())
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Inner> {
        // A panic elsewhere leaves nothing half done in here.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
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

    #[test]
    fn each_new_code_is_told_to_whoever_shows_it() {
        let phones = Phones::new().unwrap();
        let mut shown = phones.shown();
        assert!(!shown.has_changed().unwrap());
        for _ in 0..5 {
            phones.try_code("00000000").unwrap();
        }
        assert!(shown.has_changed().unwrap());
        let code = shown.borrow_and_update().clone();
        assert!(phones.try_code(&code).unwrap().is_some());
        assert!(shown.has_changed().unwrap(), "it was good once");
    }
}
