//! What all handlers share.

use crate::book::Book;
pub(crate) use crate::book::{LaidTable, OpenTest, Others};
use crate::folders::Folders;
use crate::jobs::Jobs;
use crate::phone::Phones;
use crate::refusal::Refusal;
use crate::server::ServeSettings;
use crate::token::secret;
use app::AppError;
use axum::http::StatusCode;
use std::sync::Arc;

/// What all handlers share: the notebook, the token of this run, the jobs.
#[derive(Debug)]
pub struct Shared {
    token: String,
    book: Arc<Book>,
    jobs: Jobs,
    folders: Folders,
    phones: Option<Phones>,
}

impl Shared {
    /// Opens what handlers need.
    ///
    /// # Errors
    /// [`AppError`] when the notebook can't be opened.
    pub fn open(settings: &ServeSettings) -> Result<Self, AppError> {
        Ok(Self {
            token: secret()?,
            book: Arc::new(Book::open_at(&settings.notebook)?),
            jobs: Jobs::default(),
            folders: Folders::default(),
            phones: settings.phone.then(Phones::new).transpose()?,
        })
    }

    /// The token that every change of this run must carry.
    #[must_use]
    pub fn token(&self) -> &str {
        &self.token
    }

    /// The code that lets a phone in, where the option for it was given.
    ///
    /// # Errors
    /// [`AppError`] when the system gives no random numbers.
    pub fn phone_code(&self) -> Result<Option<String>, AppError> {
        self.phones.as_ref().map(Phones::code).transpose()
    }

    pub(crate) fn phones(&self) -> Option<&Phones> {
        self.phones.as_ref()
    }

    pub(crate) fn book(&self) -> Arc<Book> {
        Arc::clone(&self.book)
    }

    pub(crate) fn folders(&self) -> &Folders {
        &self.folders
    }

    pub(crate) fn jobs(&self) -> &Jobs {
        &self.jobs
    }
}

/// Does work that takes a while or touches the disk away from the threads that
/// answer.
pub(crate) async fn away<T: Send + 'static, E: Into<Refusal> + Send + 'static>(
    work: impl FnOnce() -> Result<T, E> + Send + 'static,
) -> Result<T, Refusal> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done.map_err(Into::into),
        Err(_) => Err(Refusal::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the program made a mistake of its own here",
            "please tell its makers what you did",
        )),
    }
}
