//! Reading zip archives that others made: members one after the other, unpacked as they are read, nothing written
//! anywhere.
//!
//! Refused as a whole: damaged directories, more than [`MAX_MEMBERS`] members, members whose bytes overlap (a short
//! archive could unpack to any length) and names that occur twice. Refused one by one: encrypted members and links. How
//! much of a member is read is its reader's to limit. Names are only told, never used as paths.
use std::io::{Read, Seek};

use zip::{ZipArchive, result::ZipError};

/// Most members of an archive.
pub const MAX_MEMBERS: usize = 100_000;
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
    /// The member is encrypted.
    #[error("the member is encrypted")]
    Encrypted,
    /// The member is a link.
    #[error("the member is a link")]
    Link,
}

/// An archive that is read.
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
        if zip.has_overlapping_entries()? {
            return Err(ArchiveReadError::Overlapping);
        }
        Ok(Self { zip })
    }

    /// The names of all members but folders, each with its place in the archive. Characters that could trouble a
    /// terminal are replaced, and long names shortened.
    #[must_use]
    pub fn names(&self) -> Vec<(usize, String)> {
        let names = (0..self.zip.len()).map(|index| {
            let name = self.zip.name_for_index(index).and_then(Result::ok).unwrap_or_default();
            (
                index,
                name.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).take(TOLD_NAME).collect(),
            )
        });
        names.filter(|(_, name): &(usize, String)| !name.ends_with('/')).collect()
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

    /// Opens a member by its place.
    ///
    /// # Errors
    /// [`ArchiveReadError`] of the member.
    pub fn member(&mut self, index: usize) -> Result<impl Read + '_, ArchiveReadError> {
        let entry = self.zip.by_index_data(index)?;
        if entry.encrypted() {
            return Err(ArchiveReadError::Encrypted);
        }
        if entry.is_symlink() {
            return Err(ArchiveReadError::Link);
        }
        Ok(self.zip.by_index(index)?)
    }
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
            for (name, content) in [("b/two.xml", "<two/>"), ("../one\u{7}.xml", "<one/>")] {
                zip.start_file(name, options).unwrap();
                zip.write_all(content.as_bytes()).unwrap();
            }
        });
        let mut reader = ArchiveReader::new(bytes).unwrap();
        let names = reader.names();
        assert_eq!(names, [(1, "b/two.xml".to_owned()), (2, "../one\u{FFFD}.xml".to_owned())]);
        let mut content = String::new();
        reader.member(1).unwrap().read_to_string(&mut content).unwrap();
        assert_eq!(content, "<two/>");
    }

    #[test]
    fn refuses_links_and_what_is_no_archive() {
        assert!(matches!(ArchiveReader::new(Cursor::new(b"PK no")), Err(ArchiveReadError::Damaged(_))));
        let bytes =
            archive(|zip| zip.add_symlink("link.xml", "/etc/hosts", SimpleFileOptions::default()).unwrap());
        let mut reader = ArchiveReader::new(bytes).unwrap();
        assert!(matches!(reader.member(0).err(), Some(ArchiveReadError::Link)));
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
