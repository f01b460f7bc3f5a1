//! Pictures of pages, for people to look at and for the README.
//!
//! `TENTHS_PICTURES=1` puts them into `deploy/pictures`; without it they go to a temporary folder, so that a test leaves the
//! tree as it was.

use std::path::{Path, PathBuf};
use std::{env, fs};

use anyhow::{Result, ensure};

/// A picture in the repository is no larger, in bytes.
const PICTURE_MAX: usize = 150_000;

/// Where pictures go.
pub struct Pictures {
    folder: PathBuf,
    kept: bool,
}

impl Pictures {
    /// `deploy/pictures` if they are wanted there, else a folder in `temporary`.
    ///
    /// # Errors
    /// If the folder cannot be made.
    pub fn into_folder(temporary: &Path) -> Result<Self> {
        let kept = env::var("TENTHS_PICTURES").as_deref() == Ok("1");
        let folder = if kept {
            Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy/pictures")
        } else {
            temporary.join("pictures")
        };
        fs::create_dir_all(&folder)?;
        Ok(Self { folder, kept })
    }

    /// Keeps a PNG under that name.
    ///
    /// # Errors
    /// If it cannot be written, or is too large for the repository.
    pub fn keep(&self, name: &str, picture: &[u8]) -> Result<()> {
        let size = picture.len();
        ensure!(!self.kept || size <= PICTURE_MAX, "{name} has {size} bytes, more than {PICTURE_MAX}");
        Ok(fs::write(self.folder.join(format!("{name}.png")), picture)?)
    }
}
