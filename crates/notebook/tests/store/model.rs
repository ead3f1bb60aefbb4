//! Any sequence of changes, held against a plain list of what was.

use crate::made::{documents, notebook, record, stamp};
use notebook::{Check, Documents, NotebookError, TestId};
use proptest::prelude::*;

#[derive(Clone, Debug)]
enum Change {
    Save { title: u8, notes: Option<u8> },
    SaveUnseen { title: u8 },
    Undo,
    Restore { back: u8 },
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        4 => (0_u8..4, prop::option::of(0_u8..3)).prop_map(|(title, notes)| Change::Save { title, notes }),
        1 => (0_u8..4).prop_map(|title| Change::SaveUnseen { title }),
        2 => Just(Change::Undo),
        1 => (0_u8..6).prop_map(|back| Change::Restore { back }),
    ]
}

fn files(title: u8, notes: Option<u8>) -> Documents {
    let text = record(&format!("Title {title}"), "16");
    let notes: Vec<u8> = notes.into_iter().collect();
    if notes.is_empty() {
        documents(&[("test.toml", text.as_bytes())])
    } else {
        documents(&[("test.toml", text.as_bytes()), ("notes.txt", &notes)])
    }
}

/// What is undone next, as a person would say it: each undoing goes one change further
/// back, and a change after it (putting back is one) begins anew.
struct Model {
    /// Files of every revision.
    all: Vec<Documents>,
    /// The revision whose files each stands for.
    stands_for: Vec<usize>,
}

impl Model {
    fn push(&mut self, files: Documents, stands_for: Option<usize>) {
        self.all.push(files);
        self.stands_for
            .push(stands_for.unwrap_or(self.all.len() - 1));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn no_sequence_of_changes_loses_a_revision(changes in prop::collection::vec(change(), 1..25)) {
        let dir = tempfile::tempdir().unwrap();
        let mut file = notebook(dir.path());
        let id = file.add_test(&files(0, None), &stamp(), "typed").unwrap();
        let mut model = Model { all: vec![], stands_for: vec![] };
        model.push(files(0, None), None);
        for change in changes {
            let seen = u32::try_from(model.all.len()).unwrap();
            let now = model.all.len() - 1;
            let (done, wanted) = match change {
                Change::Save { title, notes } => (
                    file.save(id, seen, &files(title, notes), &stamp(), "saved"),
                    Some((files(title, notes), None)),
                ),
                Change::SaveUnseen { title } => {
                    // One revision too early, or one that is not there yet.
                    let unseen = if seen == 1 { 2 } else { seen - 1 };
                    let refused = file.save(id, unseen, &files(title, None), &stamp(), "late");
                    prop_assert!(matches!(refused, Err(NotebookError::Conflict(_))));
                    continue;
                }
                Change::Undo => {
                    let wanted = match model.stands_for[now] {
                        0 => None,
                        undone => {
                            let target = model.stands_for[undone - 1];
                            Some((model.all[target].clone(), Some(target)))
                        }
                    };
                    (file.undo(id, seen, &stamp()), wanted)
                }
                Change::Restore { back } => {
                    let back = now.saturating_sub(usize::from(back));
                    let wanted = Some((model.all[back].clone(), None));
                    let revision = u32::try_from(back + 1).unwrap();
                    (file.restore(id, seen, revision, &stamp()), wanted)
                }
            };
            match (done, wanted) {
                (Err(NotebookError::NothingToUndo(_)), None) => {}
                (Ok(saved), Some((files, stands_for))) => {
                    // The same files again make no revision.
                    let is_new = files != model.all[now];
                    prop_assert_eq!(saved.is_new, is_new);
                    if is_new {
                        model.push(files, stands_for);
                    }
                    prop_assert_eq!(saved.revision as usize, model.all.len());
                }
                (done, wanted) => prop_assert!(false, "{done:?} instead of {wanted:?}"),
            }
        }
        for (index, files) in model.all.iter().enumerate() {
            let revision = u32::try_from(index + 1).unwrap();
            prop_assert_eq!(&file.documents(id, Some(revision)).unwrap().1, files);
        }
        file.check(Check::Full).unwrap();
        prop_assert!(file.documents(TestId::new(2), None).is_err());
    }
}
