//! Writing zip archives that are the same bytes for the same input. This file and [`reading`] alone know the zip
//! library.
//!
//! Members stand in the order they are written, carry the time the caller gives, one compression and one set of
//! rights. Content is streamed through; nothing of a member is kept but its name.
pub mod reading;

use std::{
    collections::HashSet,
    hash::{DefaultHasher, Hash, Hasher},
    io::{self, Seek, Write},
};

use zip::{CompressionMethod, DateTime, ZipWriter, result::ZipError, write::SimpleFileOptions};

/// Longest name of a member in bytes: well below what any file system of a reader takes for a path.
const MAX_NAME: usize = 180;
/// Deflate's usual middle level. Fixed, because another level gives other bytes.
const LEVEL: i64 = 6;
/// Names that a common desktop system keeps for devices, with or without an extension.
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// The earliest time that a zip archive can hold: 1 January 1980, in seconds since 1970.
pub const EARLIEST: jiff::Timestamp = jiff::Timestamp::constant(315_532_800, 0);

/// Why an archive could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ArchiveError {
    /// A member's name is not a plain relative path.
    #[error(
        "'{name}' is no safe name for a file in a package; expected lower-case letters, digits, '-', '_', '.' and '/'"
    )]
    Name {
        /// The name, shortened.
        name: String,
    },
    /// Two members have the same name, or one that a reader which ignores case cannot tell apart.
    #[error("'{name}' is already in the package")]
    Duplicate {
        /// The name.
        name: String,
    },
    /// The time lies outside what the zip format can write.
    #[error("the time stamp {stamp} is outside the years 1980 to 2107 that a zip archive can hold")]
    Timestamp {
        /// The time asked for.
        stamp: jiff::Timestamp,
    },
    /// The zip library refused.
    #[error("the package could not be written")]
    Zip(#[from] ZipError),
    /// The bytes could not be written where they should go.
    #[error("the package could not be written")]
    Write(#[from] io::Error),
}

/// A relative path that is safe on every system: lower-case ASCII, `/` between parts, no `..`, nothing hidden.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct MemberName(String);

impl MemberName {
    /// Checks a name.
    ///
    /// # Errors
    /// [`ArchiveError::Name`].
    pub fn new(name: &str) -> Result<Self, ArchiveError> {
        let safe = name.len() <= MAX_NAME && name.split('/').all(is_safe_part);
        if safe {
            Ok(Self(name.to_owned()))
        } else {
            Err(ArchiveError::Name { name: name.chars().take(60).collect() })
        }
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What tells the name from others.
    #[must_use]
    pub fn fingerprint(&self) -> Fingerprint {
        Fingerprint::of(&self.0)
    }
}

/// Tells a text from others in less memory than the text takes: 128 bits of a keyed hash, by which even a hundred
/// million texts meet by chance no more often than once in 10²² tries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Fingerprint(u64, u64);

impl Fingerprint {
    /// The fingerprint of a text, in this run of the program.
    #[must_use]
    pub fn of(text: &str) -> Self {
        let half = |salt: u8| {
            let mut hasher = DefaultHasher::new();
            (salt, text).hash(&mut hasher);
            hasher.finish()
        };
        Self(half(0), half(1))
    }
}

fn is_safe_part(part: &str) -> bool {
    let plain =
        |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || matches!(byte, b'-' | b'_' | b'.');
    let stem = part.split('.').next().unwrap_or_default();
    !part.is_empty()
        && part.bytes().all(plain)
        && !part.starts_with('.')
        && !part.ends_with('.')
        && !DEVICES.contains(&stem)
}

/// Writes one archive, member by member.
pub struct ArchiveWriter<W: Write + Seek> {
    zip: ZipWriter<W>,
    options: SimpleFileOptions,
    names: HashSet<Fingerprint>,
}

impl<W: Write + Seek> ArchiveWriter<W> {
    /// Begins an archive all of whose members carry the time `stamp` (UTC, to two seconds).
    ///
    /// # Errors
    /// [`ArchiveError::Timestamp`].
    pub fn new(out: W, stamp: jiff::Timestamp) -> Result<Self, ArchiveError> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .compression_level(Some(LEVEL))
            .last_modified_time(zip_time(stamp)?)
            .unix_permissions(0o644);
        Ok(Self { zip: ZipWriter::new(out), options, names: HashSet::new() })
    }

    /// Writes one member by `content` and tells how many bytes it has unpacked.
    ///
    /// # Errors
    /// [`ArchiveError::Duplicate`], [`ArchiveError::Zip`], and whatever `content` returns.
    pub fn member<E: From<ArchiveError>>(
        &mut self,
        name: &MemberName,
        content: impl FnOnce(&mut dyn Write) -> Result<(), E>,
    ) -> Result<u64, E> {
        if !self.names.insert(name.fingerprint()) {
            return Err(ArchiveError::Duplicate { name: name.0.clone() }.into());
        }
        self.zip.start_file(name.as_str(), self.options).map_err(ArchiveError::from)?;
        let mut counted = Counted { out: &mut self.zip, bytes: 0 };
        content(&mut counted)?;
        Ok(counted.bytes)
    }

    /// Writes the directory of the archive and tells how many bytes the whole has.
    ///
    /// # Errors
    /// [`ArchiveError::Zip`], [`ArchiveError::Write`].
    pub fn finish(self) -> Result<u64, ArchiveError> {
        let mut out = self.zip.finish()?;
        out.flush()?;
        Ok(out.stream_position()?)
    }
}

fn zip_time(stamp: jiff::Timestamp) -> Result<DateTime, ArchiveError> {
    let time = jiff::tz::TimeZone::UTC.to_datetime(stamp);
    let parts = [time.month(), time.day(), time.hour(), time.minute(), time.second()].map(i8::unsigned_abs);
    let [month, day, hour, minute, second] = parts;
    u16::try_from(time.year())
        .ok()
        .and_then(|year| DateTime::from_date_and_time(year, month, day, hour, minute, second).ok())
        .ok_or(ArchiveError::Timestamp { stamp })
}

/// Counts what goes through.
struct Counted<'w, W> {
    out: &'w mut W,
    bytes: u64,
}

impl<W: Write> Write for Counted<'_, W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.out.write(bytes)?;
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Cursor, Read};

    fn stamp(text: &str) -> jiff::Timestamp {
        text.parse().unwrap()
    }

    fn archive(time: &str, members: &[(&str, &str)]) -> Result<Vec<u8>, ArchiveError> {
        let mut out = Cursor::new(Vec::new());
        let mut archive = ArchiveWriter::new(&mut out, stamp(time))?;
        for (name, text) in members {
            let bytes = archive
                .member(&MemberName::new(name)?, |w| Ok::<_, ArchiveError>(w.write_all(text.as_bytes())?))?;
            assert_eq!(bytes, text.len() as u64);
        }
        let total = archive.finish()?;
        assert_eq!(total, out.get_ref().len() as u64);
        Ok(out.into_inner())
    }

    #[test]
    fn gives_the_same_bytes_for_the_same_input() {
        let members = [("imsmanifest.xml", "<manifest/>"), ("items/a.xml", "<item/>")];
        let first = archive("2026-03-02T09:15:00Z", &members).unwrap();
        assert_eq!(first, archive("2026-03-02T09:15:00Z", &members).unwrap());
        assert_ne!(first, archive("2026-03-03T09:15:00Z", &members).unwrap());
    }

    #[test]
    fn reads_back_with_order_content_and_time() {
        let bytes = archive("2026-03-02T09:15:00Z", &[("b.xml", "bee"), ("a.xml", "ay")]).unwrap();
        let mut read = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        let mut text = String::new();
        let mut member = read.by_index(0).unwrap();
        assert_eq!(member.name().unwrap(), "b.xml");
        assert_eq!(member.last_modified().unwrap().to_string(), "2026-03-02 09:15:00");
        member.read_to_string(&mut text).unwrap();
        assert_eq!(text, "bee");
    }

    #[test]
    fn refuses_unsafe_names() {
        for name in [
            "",
            "/a",
            "a//b",
            "../a",
            "a/..",
            "A.xml",
            "a b",
            "a\\b",
            ".a",
            "a.",
            "con",
            "nul.xml",
            "ä",
            &"a".repeat(200),
        ] {
            assert!(matches!(MemberName::new(name), Err(ArchiveError::Name { .. })), "{name:?}");
        }
        assert!(MemberName::new("items/add-tenths_1.v2.xml").is_ok());
    }

    #[test]
    fn refuses_a_name_twice_and_a_time_out_of_range() {
        let twice = archive("2026-03-02T09:15:00Z", &[("a", ""), ("a", "")]);
        assert!(matches!(twice, Err(ArchiveError::Duplicate { .. })));
        assert!(matches!(archive("1979-12-31T23:59:59Z", &[]), Err(ArchiveError::Timestamp { .. })));
        assert!(matches!(archive("2108-01-01T00:00:00Z", &[]), Err(ArchiveError::Timestamp { .. })));
    }
}
