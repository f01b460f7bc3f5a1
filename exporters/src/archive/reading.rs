//! Reading zip archives that others made: members one after the other, unpacked as they are read, nothing written
//! anywhere.
//!
//! The whole archive is refused where anything in its directory could harm a reader: damage, more than [`MAX_MEMBERS`]
//! members, bytes that members share (a short archive could unpack to any length), names that occur twice or differ
//! only in capital letters, names that lead out of a folder, links, encrypted members, members that unpack to more
//! than [`MAX_MEMBER`] bytes or [`MAX_RATIO`] times their packed size, and all together to more than [`MAX_TOTAL`]. A
//! directory may lie: a member that unpacks to more than it says ends with an error while it is read, and so does one
//! whose content does not fit its checksum.
use std::{
    collections::HashSet,
    io::{Read, Seek},
};

use zip::{ZipArchive, result::ZipError};

use super::Fingerprint;

/// Most members of an archive: twice a hundred thousand items.
pub const MAX_MEMBERS: usize = 200_000;
/// Most bytes of an unpacked member.
pub const MAX_MEMBER: u64 = 1 << 30;
/// Most bytes of all members unpacked.
pub const MAX_TOTAL: u64 = 8 << 30;
/// Most bytes that one packed byte may become, in members of more than [`RATIO_FROM`] bytes and in all together. Texts
/// of this project become 30.
pub const MAX_RATIO: u64 = 250;
/// Below so many unpacked bytes the ratio does not matter.
pub const RATIO_FROM: u64 = 1 << 20;
/// Longest name in bytes.
pub const MAX_NAME: usize = 1024;
/// How much of a name is told.
const TOLD_NAME: usize = 120;

/// Why an archive or a member is refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ArchiveReadError {
    /// Not a zip archive, or a damaged one.
    #[error("not a readable zip archive: {0}")]
    Damaged(#[from] ZipError),
    /// Too many members.
    #[error("the archive has {0} members; expected {MAX_MEMBERS} at most")]
    TooMany(usize),
    /// Members share bytes.
    #[error("members of the archive overlap")]
    Overlapping,
    /// Two members have one name.
    #[error("two members of the archive have the same name")]
    Duplicate,
    /// Two members have names that some systems cannot tell apart.
    #[error("'{0}' differs from another member in capital letters only")]
    DuplicateButCase(String),
    /// A name that leads elsewhere than into the folder where the archive is unpacked.
    #[error(
        "'{0}' is no safe name for a member; expected a relative path with '/' between its parts and no '..'"
    )]
    Name(String),
    /// The member is encrypted.
    #[error("'{0}' is encrypted; expected a plain member")]
    Encrypted(String),
    /// The member is a link.
    #[error("'{0}' is a link; expected a plain member")]
    Link(String),
    /// The member unpacks to too much.
    #[error("'{name}' unpacks to {bytes} bytes; expected {MAX_MEMBER} at most")]
    TooLong {
        /// Its name.
        name: String,
        /// What the directory says.
        bytes: u64,
    },
    /// The member unpacks to far more than it is.
    #[error("'{name}' unpacks to {bytes} bytes, more than {MAX_RATIO} times its packed size")]
    Ratio {
        /// Its name.
        name: String,
        /// What the directory says.
        bytes: u64,
    },
    /// All members together unpack to too much, or to far more than they are.
    #[error(
        "the archive unpacks to {0} bytes; expected {MAX_TOTAL} and {MAX_RATIO} times its packed size at most"
    )]
    Total(u64),
}

/// An archive that is read.
#[derive(Debug)]
pub struct ArchiveReader<R> {
    zip: ZipArchive<R>,
}

impl<R: Read + Seek> ArchiveReader<R> {
    /// Reads the directory.
    ///
    /// # Errors
    /// [`ArchiveReadError`] where the whole archive is refused.
    pub fn new(input: R) -> Result<Self, ArchiveReadError> {
        let mut zip = ZipArchive::new(input)?;
        if zip.len() > MAX_MEMBERS {
            return Err(ArchiveReadError::TooMany(zip.len()));
        }
        if zip.has_duplicate_names() {
            return Err(ArchiveReadError::Duplicate);
        }
        check_members(&zip)?;
        if zip.has_overlapping_entries()? {
            return Err(ArchiveReadError::Overlapping);
        }
        Ok(Self { zip })
    }

    /// The names of all members but folders, each with its place in the archive. Long names are shortened.
    #[must_use]
    pub fn names(&self) -> Vec<(usize, String)> {
        let names = (0..self.zip.len()).map(|index| {
            let name = self.zip.name_for_index(index).and_then(Result::ok).unwrap_or_default();
            (index, told(&name))
        });
        names.filter(|(_, name): &(usize, String)| !name.ends_with('/')).collect()
    }

    /// The whole names of all members but folders, each with its place in the archive.
    #[must_use]
    pub fn paths(&self) -> Vec<(usize, String)> {
        let path = |index| Some((index, self.zip.name_for_index(index)?.ok()?.into_owned()));
        (0..self.zip.len()).filter_map(path).filter(|(_, path)| !path.ends_with('/')).collect()
    }

    /// When a member was written, as the archive says, in UTC; `None` where that is no time.
    pub fn stamp(&mut self, index: usize) -> Option<jiff::Timestamp> {
        let time = self.zip.by_index_data(index).ok()?.last_modified()?;
        let parts = [time.month(), time.day(), time.hour(), time.minute(), time.second()];
        let [month, day, hour, minute, second] = parts.map(|part| i8::try_from(part).ok());
        let year = i16::try_from(time.year()).ok()?;
        let civil = jiff::civil::DateTime::new(year, month?, day?, hour?, minute?, second?, 0).ok()?;
        jiff::tz::TimeZone::UTC.to_timestamp(civil).ok()
    }

    /// Opens a member by its place. Reading it ends with an error if it holds more than the directory says.
    ///
    /// # Errors
    /// [`ArchiveReadError::Damaged`].
    pub fn member(&mut self, index: usize) -> Result<impl Read + '_, ArchiveReadError> {
        Ok(self.zip.by_index(index)?)
    }
}

/// Checks what the directory says of each member, and of all together.
fn check_members<R: Read + Seek>(zip: &ZipArchive<R>) -> Result<(), ArchiveReadError> {
    let mut known = HashSet::new();
    let (mut packed, mut unpacked) = (0_u64, 0_u64);
    for index in 0..zip.len() {
        let entry = zip.by_index_data(index)?;
        let name = entry.name()?;
        if !is_safe(&name) {
            return Err(ArchiveReadError::Name(told(&name)));
        }
        if !known.insert(Fingerprint::of(&name.to_lowercase())) {
            return Err(ArchiveReadError::DuplicateButCase(told(&name)));
        }
        if entry.encrypted() {
            return Err(ArchiveReadError::Encrypted(told(&name)));
        }
        if entry.is_symlink() {
            return Err(ArchiveReadError::Link(told(&name)));
        }
        let bytes = entry.size();
        if bytes > MAX_MEMBER {
            return Err(ArchiveReadError::TooLong { name: told(&name), bytes });
        }
        if swells(entry.compressed_size(), bytes) {
            return Err(ArchiveReadError::Ratio { name: told(&name), bytes });
        }
        packed = packed.saturating_add(entry.compressed_size());
        unpacked = unpacked.saturating_add(bytes);
    }
    if unpacked > MAX_TOTAL || swells(packed, unpacked) {
        return Err(ArchiveReadError::Total(unpacked));
    }
    Ok(())
}

fn swells(packed: u64, unpacked: u64) -> bool {
    unpacked > RATIO_FROM && unpacked > packed.saturating_mul(MAX_RATIO)
}

/// Whether a name leads nowhere but into the folder where it is unpacked, on any system.
fn is_safe(name: &str) -> bool {
    let path = name.strip_suffix('/').unwrap_or(name);
    name.len() <= MAX_NAME
        && path.split('/').all(|part| !matches!(part, "" | "." | ".."))
        && !name.contains(['\\', ':'])
        && !name.contains(char::is_control)
}

/// A name for messages: shortened, and without characters that could trouble a terminal.
fn told(name: &str) -> String {
    name.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).take(TOLD_NAME).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Cursor, Write};
    use zip::{ZipWriter, write::SimpleFileOptions};

    fn archive(fill: impl FnOnce(&mut ZipWriter<Cursor<Vec<u8>>>)) -> Cursor<Vec<u8>> {
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        fill(&mut writer);
        writer.finish().unwrap()
    }

    #[test]
    fn tells_members_in_their_order_and_unpacks_them() {
        let bytes = archive(|zip| {
            let options = SimpleFileOptions::default();
            zip.add_directory("b", options).unwrap();
            for (name, content) in [("b/two.xml", "<two/>"), ("one.xml", "<one/>")] {
                zip.start_file(name, options).unwrap();
                zip.write_all(content.as_bytes()).unwrap();
            }
        });
        let mut reader = ArchiveReader::new(bytes).unwrap();
        let names = reader.names();
        assert_eq!(names, [(1, "b/two.xml".to_owned()), (2, "one.xml".to_owned())]);
        let mut content = String::new();
        reader.member(1).unwrap().read_to_string(&mut content).unwrap();
        assert_eq!(content, "<two/>");
    }

    #[test]
    fn refuses_links_and_what_is_no_archive() {
        assert!(matches!(ArchiveReader::new(Cursor::new(b"PK no")), Err(ArchiveReadError::Damaged(_))));
        let bytes =
            archive(|zip| zip.add_symlink("link.xml", "/etc/hosts", SimpleFileOptions::default()).unwrap());
        assert!(matches!(ArchiveReader::new(bytes), Err(ArchiveReadError::Link(name)) if name == "link.xml"));
    }

    #[test]
    fn refuses_members_that_share_bytes() {
        let bytes = archive(|zip| {
            zip.start_file("one.xml", SimpleFileOptions::default()).unwrap();
            zip.write_all(b"<one/>").unwrap();
            zip.shallow_copy_file("one.xml", "two.xml").unwrap();
        });
        assert!(matches!(ArchiveReader::new(bytes), Err(ArchiveReadError::Overlapping)));
    }
}
