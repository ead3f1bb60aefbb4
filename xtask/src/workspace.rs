//! Where the workspace is and which files it has.

use std::fs;
use std::path::{Path, PathBuf};

/// The checked-out workspace.
pub(crate) struct Workspace {
    root: PathBuf,
}

impl Workspace {
    /// The workspace that this chore was built in.
    pub(crate) fn here() -> Self {
        let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
        Self {
            root: manifest.parent().unwrap_or(manifest).to_owned(),
        }
    }

    pub(crate) fn root(&self) -> &Path {
        &self.root
    }

    pub(crate) fn path(&self, relative: &str) -> PathBuf {
        self.root.join(relative)
    }

    /// Reads a text file by its path within the workspace.
    pub(crate) fn text(&self, relative: &str) -> Result<String, String> {
        fs::read_to_string(self.path(relative)).map_err(|e| format!("{relative}: {e}"))
    }

    /// An empty folder for a chore's own files.
    pub(crate) fn scratch(&self, name: &str) -> Result<PathBuf, String> {
        let folder = self.root.join("target/xtask").join(name);
        if folder.exists() {
            fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        }
        fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        Ok(folder)
    }

    /// A folder for what outlives one run.
    pub(crate) fn kept(&self) -> PathBuf {
        self.root.join("target/xtask-kept")
    }

    /// The names of the crates' folders, sorted.
    pub(crate) fn crate_folders(&self) -> Result<Vec<String>, String> {
        let mut names = vec![];
        for path in entries(&self.path("crates"))? {
            if path.join("Cargo.toml").is_file() {
                names.push(file_name(&path));
            }
        }
        Ok(names)
    }

    /// Every file of the workspace, relative and with `/`, sorted; build
    /// products, hidden folders but `.ci`, and demo folders are left out.
    pub(crate) fn files(&self) -> Result<Vec<String>, String> {
        self.files_under("")
    }

    /// The same below one folder; none when the folder isn't there.
    pub(crate) fn files_under(&self, folder: &str) -> Result<Vec<String>, String> {
        let mut found = vec![];
        let mut open = vec![self.path(folder)];
        while let Some(folder) = open.pop() {
            if !folder.is_dir() {
                continue;
            }
            for path in entries(&folder)? {
                let name = file_name(&path);
                if path.is_dir() {
                    let left_out = (name.starts_with('.') && name != ".ci")
                        || (folder == self.root && matches!(name.as_str(), "target" | "demo"))
                        || (folder == self.path("fuzz") && name != "fuzz_targets");
                    if !left_out {
                        open.push(path);
                    }
                // In a second work tree of one repository, `.git` is a file with a path.
                } else if name != ".git"
                    && let Ok(relative) = path.strip_prefix(&self.root)
                {
                    found.push(relative.to_string_lossy().replace('\\', "/"));
                }
            }
        }
        found.sort();
        Ok(found)
    }
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .map(|n| n.to_string_lossy().into_owned())
        .unwrap_or_default()
}

fn entries(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let told = |e: std::io::Error| format!("{}: {e}", folder.display());
    let mut paths = fs::read_dir(folder)
        .map_err(told)?
        .map(|entry| entry.map(|e| e.path()).map_err(told))
        .collect::<Result<Vec<_>, _>>()?;
    paths.sort();
    Ok(paths)
}
