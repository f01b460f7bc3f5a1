//! Where the seal key comes from.

use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use crate::seal::{NoSealKey, SealKey};

/// Where the key is that seals private keys in the store. `TENTHS_SEAL_KEY` holds the key itself: there is no option for
/// it, because other users of a machine see options.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct SealArguments {
    /// File with the key that seals private keys in the store, not readable by everybody; or set TENTHS_SEAL_KEY to the
    /// key itself
    #[arg(long, env = "TENTHS_SEAL_KEY_FILE", value_name = "FILE")]
    pub seal_key_file: Option<PathBuf>,
}

impl SealArguments {
    /// Reads the key for a store: the one that is given, else the one beside the store that an earlier start made, else
    /// none.
    ///
    /// # Errors
    /// [`SealKeyError`] if both are given, or what is given is no key.
    pub fn read(&self, store: &str) -> Result<Option<SealKey>, SealKeyError> {
        let variable = std::env::var_os(SEAL_KEY_VARIABLE).filter(|value| !value.is_empty());
        match (variable, &self.seal_key_file) {
            (None, None) => match beside(store).filter(|path| path.exists()) {
                Some(path) => read_seal_key(&path).map(Some),
                None => Ok(None),
            },
            (None, Some(path)) => read_seal_key(path).map(Some),
            (Some(_), Some(_)) => Err(SealKeyError::Both),
            (Some(text), None) => {
                let text = text.to_str().unwrap_or_default();
                let key = SealKey::parse(text).map_err(|problem| SealKeyError::NoKey {
                    place: SEAL_KEY_VARIABLE.to_owned(),
                    problem,
                })?;
                Ok(Some(key))
            }
        }
    }
}

/// The variable that holds a seal key.
const SEAL_KEY_VARIABLE: &str = "TENTHS_SEAL_KEY";

/// Where the seal key of a store in a file is, unless it is given: beside it. None for other stores.
fn beside(store: &str) -> Option<PathBuf> {
    let path = store.strip_prefix("sqlite:").filter(|path| *path != ":memory:")?;
    Some(PathBuf::from(format!("{path}.seal-key")))
}

/// Makes the seal key of a store that has none: sealed keys are of no use to whoever gets hold of the store alone. It
/// belongs apart from the store's backups, which only a person can see to.
pub(super) fn make_beside(store: &str) -> Result<Option<SealKey>, SealKeyError> {
    let Some(path) = beside(store) else { return Ok(None) };
    match make_seal_key(&path) {
        // Another process that starts at the same moment was faster.
        Err(SealKeyError::Unreadable { source, .. }) if source.kind() == ErrorKind::AlreadyExists => {
            return read_seal_key(&path).map(Some);
        }
        made => made?,
    }
    tracing::warn!(
        path = %path.display(),
        "a key that seals private keys was made beside the store; keep a copy where the store's backups are not, \
         or make one elsewhere with 'tenths keys new-seal-key' and 'tenths keys reseal'"
    );
    read_seal_key(&path).map(Some)
}

/// Makes a file with a new seal key, readable by its owner only. One that exists is not overwritten.
///
/// # Errors
/// [`SealKeyError::Unreadable`] naming the file.
pub fn make_seal_key(path: &Path) -> Result<(), SealKeyError> {
    let unreadable = |source| SealKeyError::Unreadable { place: path.display().to_string(), source };
    // Written beside it and then given its name, so that nobody reads half a key.
    let mut part = path.as_os_str().to_owned();
    part.push(format!(".{}", crate::entropy::short_identifier()));
    let part = Path::new(&part);
    let write = || {
        let mut file = std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(part)?;
        writeln!(file, "{}", crate::entropy::secret())?;
        file.sync_all()?;
        std::fs::hard_link(part, path)
    };
    let written = write();
    // Where nothing was written there is nothing to remove.
    let _ = std::fs::remove_file(part);
    written.map_err(unreadable)
}

/// Reads a seal key from a file that not everybody may read. A group may: service managers hand credentials over that
/// way.
///
/// # Errors
/// [`SealKeyError`] naming the file.
pub fn read_seal_key(path: &Path) -> Result<SealKey, SealKeyError> {
    let place = path.display().to_string();
    let unreadable = |source| SealKeyError::Unreadable { place: place.clone(), source };
    let mut file = std::fs::File::open(path).map_err(unreadable)?;
    // The rights of the opened file, so that it cannot be exchanged in between.
    if file.metadata().map_err(unreadable)?.permissions().mode() & 0o007 != 0 {
        return Err(SealKeyError::Open { place });
    }
    let mut text = String::new();
    file.read_to_string(&mut text).map_err(unreadable)?;
    SealKey::parse(&text).map_err(|problem| SealKeyError::NoKey { place, problem })
}

/// Why there is no seal key. Never repeats the key.
#[derive(Debug, thiserror::Error)]
pub enum SealKeyError {
    /// Two keys are given.
    #[error("TENTHS_SEAL_KEY and --seal-key-file are both given; give one of them")]
    Both,
    /// The file cannot be read or made.
    #[error("seal key file {place}: {source}")]
    Unreadable {
        /// The file.
        place: String,
        /// Why.
        source: std::io::Error,
    },
    /// Everybody can read the file.
    #[error(
        "seal key file {place}: everybody on this machine may read it; make it private with 'chmod 600 {place}'"
    )]
    Open {
        /// The file.
        place: String,
    },
    /// The text is no key.
    #[error("{place}: {problem}")]
    NoKey {
        /// The variable or file.
        place: String,
        /// What was expected.
        problem: NoSealKey,
    },
}
