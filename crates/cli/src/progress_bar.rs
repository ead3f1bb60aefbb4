//! Progress on standard error.

use app::Progress;
use indicatif::{ProgressBar as Bar, ProgressStyle};
use std::sync::Mutex;

/// One line that tells what is being done; nothing when quiet or when standard
/// error is no terminal.
pub(crate) struct ProgressBar {
    bar: Bar,
    last: Mutex<String>,
}

impl ProgressBar {
    pub(crate) fn new(quiet: bool) -> Self {
        let bar = if quiet { Bar::hidden() } else { Bar::new(0) };
        // The template is ours and constant; a fault in it would only cost the bar.
        if let Ok(style) = ProgressStyle::with_template("{bar:24} {pos}/{len} {msg}") {
            bar.set_style(style);
        }
        Self {
            bar,
            last: Mutex::new(String::new()),
        }
    }

    /// Clears the line.
    pub(crate) fn finish(&self) {
        self.bar.finish_and_clear();
    }

    /// Says a sentence above the line.
    pub(crate) fn note(&self, text: &str) {
        self.bar.suspend(|| crate::say_note(text));
    }
}

impl Progress for ProgressBar {
    fn at(&self, work: &str, done: u64, total: u64) {
        if let Ok(mut last) = self.last.lock()
            && *last != work
        {
            work.clone_into(&mut last);
            self.bar.set_message(work.to_owned());
        }
        self.bar.set_length(total);
        self.bar.set_position(done);
    }
}
