//! Writing zip archives that are the same bytes for the same input. [`reading`] alone knows the zip library.
//!
//! Members stand in the order they are written, carry the time the caller gives, one compression and one set of
//! rights. They can be packed on any thread ([`packing`]), in pieces where they are long. Of a member only its entry in the directory is kept, packed, in memory or where the caller
//! has room ([`scratch`]), and a fingerprint of its name. The library's writer keeps more than 300 bytes, which for a
//! hundred thousand members is most of the memory that an export takes. That is why the format is written here: by the published description of the
//! format (APPNOTE 6.3.10; clause numbers below), and no more of it than this project uses.
pub mod packing;
pub mod reading;
pub mod scratch;

use std::{
    collections::HashSet,
    hash::{DefaultHasher, Hash, Hasher},
    io::{self, Write},
};

use flate2::{Compression, read::DeflateDecoder, write::DeflateEncoder};

use self::{
    packing::{Packed, Packer, Pieces},
    scratch::{Scratch, ScratchFile},
};

/// Longest name of a member in bytes: well below what any file system of a reader takes for a path.
const MAX_NAME: usize = 180;
/// How the directory is packed while it is kept.
const LEVEL: u32 = 6;
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
    /// A member is longer than the format writes without its extension for large members.
    #[error("'{name}' is longer than 4 GiB")]
    TooLong {
        /// The member's name.
        name: String,
    },
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

/// Rights of every member: a file that its owner may change and all may read (4.4.15).
const RIGHTS: u32 = 0o100_644 << 16;
/// Version 2.0 of the format, made on a system with Unix rights (4.4.2), and what is needed to read it (4.4.3).
const MADE_BY: u16 = 3 << 8 | 20;
const NEEDED: u16 = 20;
/// The same for what needs numbers of 64 bits.
const NEEDED_64: u16 = 45;
/// Packed by deflate (4.4.5).
const DEFLATED: u16 = 8;

/// Writes one archive, member by member.
pub struct ArchiveWriter<W: Write> {
    out: W,
    /// Where the next member begins.
    offset: u64,
    /// The time of every member as the format has it: time and date (4.4.6).
    time: [u16; 2],
    names: HashSet<Fingerprint>,
    packer: Packer,
    /// Entries of the directory so far, packed.
    directory: DeflateEncoder<Box<dyn ScratchFile>>,
    directory_bytes: u64,
    members: u64,
}

/// What is said of a member: its sizes in 32 bits.
struct Sizes {
    crc: u32,
    packed: u32,
    unpacked: u32,
}

impl<W: Write> ArchiveWriter<W> {
    /// Begins an archive at the beginning of `out`. All members carry the time `stamp` (UTC, to two seconds).
    ///
    /// # Errors
    /// [`ArchiveError::Timestamp`].
    pub fn new(out: W, stamp: jiff::Timestamp) -> Result<Self, ArchiveError> {
        Self::with_scratch(out, stamp, Scratch::MEMORY)
    }

    /// The same; the directory is kept in a scratch file until the end.
    ///
    /// # Errors
    /// [`ArchiveError::Timestamp`], [`ArchiveError::Write`].
    pub fn with_scratch(out: W, stamp: jiff::Timestamp, scratch: Scratch) -> Result<Self, ArchiveError> {
        let directory = DeflateEncoder::new(scratch.open()?, Compression::new(LEVEL));
        Ok(Self {
            out,
            offset: 0,
            time: zip_time(stamp)?,
            names: HashSet::new(),
            packer: Packer::default(),
            directory,
            directory_bytes: 0,
            members: 0,
        })
    }

    /// Whether a member of this name is already there.
    #[must_use]
    pub fn holds(&self, name: &MemberName) -> bool {
        self.names.contains(&name.fingerprint())
    }

    /// Writes one member by `content` and tells how many bytes it has unpacked.
    ///
    /// # Errors
    /// [`ArchiveError::Duplicate`], [`ArchiveError::TooLong`], [`ArchiveError::Write`], and whatever `content` returns.
    pub fn member<E: From<ArchiveError>>(
        &mut self,
        name: &MemberName,
        content: impl FnOnce(&mut dyn Write) -> Result<(), E>,
    ) -> Result<u64, E> {
        let mut unpacked = Vec::new();
        content(&mut unpacked)?;
        let mut packed = Vec::new();
        let told = self.packer.pack(&unpacked, &mut packed);
        self.packed_member(name, &told, &packed)?;
        Ok(told.unpacked)
    }

    /// Writes one member that is already packed.
    ///
    /// # Errors
    /// [`ArchiveError::Duplicate`], [`ArchiveError::TooLong`], [`ArchiveError::Write`].
    pub fn packed_member(
        &mut self,
        name: &MemberName,
        told: &Packed,
        packed: &[u8],
    ) -> Result<(), ArchiveError> {
        self.begin(name, told)?;
        self.out.write_all(packed)?;
        self.offset += packed.len() as u64;
        Ok(())
    }

    /// Writes one member from its pieces in order, of which the last one was packed as the last.
    ///
    /// # Errors
    /// As [`ArchiveWriter::packed_member`].
    pub fn pieced_member(&mut self, name: &MemberName, pieces: Vec<Pieces>) -> Result<(), ArchiveError> {
        self.begin(name, &Pieces::told(&pieces))?;
        for pieces in pieces {
            self.offset += pieces.write(&mut self.out)?;
        }
        Ok(())
    }

    /// Puts a member into the directory, and what stands before its content into the archive.
    fn begin(&mut self, name: &MemberName, told: &Packed) -> Result<(), ArchiveError> {
        if !self.names.insert(name.fingerprint()) {
            return Err(ArchiveError::Duplicate { name: name.0.clone() });
        }
        let too_long = |_| ArchiveError::TooLong { name: name.0.clone() };
        let sizes = Sizes {
            crc: told.crc.sum(),
            packed: u32::try_from(told.packed).map_err(too_long)?,
            unpacked: u32::try_from(told.unpacked).map_err(too_long)?,
        };
        self.enter(self.offset, name, &sizes)?;
        self.local_header(name, &sizes)?;
        Ok(())
    }

    /// Writes the directory of the archive and tells how many bytes the whole has.
    ///
    /// # Errors
    /// [`ArchiveError::Write`].
    pub fn finish(self) -> Result<u64, ArchiveError> {
        let Self { mut out, offset, directory, directory_bytes, members, .. } = self;
        let mut directory = directory.finish()?;
        directory.rewind()?;
        io::copy(&mut DeflateDecoder::new(directory), &mut out)?;
        let end = Ending { members, bytes: directory_bytes, offset }.written();
        out.write_all(&end)?;
        out.flush()?;
        Ok(offset + directory_bytes + end.len() as u64)
    }

    /// What stands before a member (4.3.7).
    fn local_header(&mut self, name: &MemberName, member: &Sizes) -> io::Result<()> {
        let mut header = Fields::new(*b"PK\x03\x04");
        header.two(NEEDED);
        self.shared(&mut header, name, member);
        header.two(0);
        header.0.extend(name.0.as_bytes());
        self.offset += header.0.len() as u64;
        self.out.write_all(&header.0)
    }

    /// What a member's header and its entry in the directory both say.
    fn shared(&self, fields: &mut Fields, name: &MemberName, member: &Sizes) {
        fields.two(0);
        fields.two(DEFLATED);
        self.time.into_iter().for_each(|half| fields.two(half));
        fields.four(member.crc);
        fields.four(member.packed);
        fields.four(member.unpacked);
        fields.two(u16::try_from(name.0.len()).expect("names are short"));
    }

    /// Puts a member into the directory (4.3.12); a place beyond 4 GiB stands in an extension (4.5.3).
    fn enter(&mut self, begin: u64, name: &MemberName, member: &Sizes) -> io::Result<()> {
        let near = u32::try_from(begin).ok().filter(|place| *place < u32::MAX);
        let mut entry = Fields::new(*b"PK\x01\x02");
        entry.two(MADE_BY);
        entry.two(if near.is_some() { NEEDED } else { NEEDED_64 });
        self.shared(&mut entry, name, member);
        entry.two(if near.is_some() { 0 } else { 12 });
        // No comment, the first disk, no internal attributes.
        (0..3).for_each(|_| entry.two(0));
        entry.four(RIGHTS);
        entry.four(near.unwrap_or(u32::MAX));
        entry.0.extend(name.0.as_bytes());
        if near.is_none() {
            entry.two(1);
            entry.two(8);
            entry.eight(begin);
        }
        self.members += 1;
        self.directory_bytes += entry.0.len() as u64;
        self.directory.write_all(&entry.0)
    }
}

/// What stands after the directory.
struct Ending {
    members: u64,
    bytes: u64,
    offset: u64,
}

impl Ending {
    /// The end of the directory (4.3.16), before it the records for large archives (4.3.14, 4.3.15) where it needs them.
    fn written(&self) -> Vec<u8> {
        let Self { members, bytes, offset } = *self;
        let few = u16::try_from(members).ok().filter(|count| *count < u16::MAX);
        let near = |number: u64| u32::try_from(number).ok().filter(|number| *number < u32::MAX);
        let mut end = Fields(Vec::new());
        if few.is_none() || near(bytes).is_none() || near(offset).is_none() {
            end.0.extend(b"PK\x06\x06");
            // The length of the rest of this record.
            end.eight(44);
            end.two(MADE_BY);
            end.two(NEEDED_64);
            end.eight(0);
            [members, members, bytes, offset].into_iter().for_each(|number| end.eight(number));
            end.0.extend(b"PK\x06\x07");
            end.four(0);
            end.eight(offset + bytes);
            // One disk.
            end.four(1);
        }
        end.0.extend(b"PK\x05\x06");
        end.four(0);
        (0..2).for_each(|_| end.two(few.unwrap_or(u16::MAX)));
        end.four(near(bytes).unwrap_or(u32::MAX));
        end.four(near(offset).unwrap_or(u32::MAX));
        end.two(0);
        end.0
    }
}

/// Numbers one after the other, low byte first.
struct Fields(Vec<u8>);

impl Fields {
    fn new(signature: [u8; 4]) -> Self {
        Self(signature.to_vec())
    }

    fn two(&mut self, number: u16) {
        self.0.extend(number.to_le_bytes());
    }

    fn four(&mut self, number: u32) {
        self.0.extend(number.to_le_bytes());
    }

    fn eight(&mut self, number: u64) {
        self.0.extend(number.to_le_bytes());
    }
}

/// Hours, minutes and pairs of seconds; years since 1980, months and days.
fn zip_time(stamp: jiff::Timestamp) -> Result<[u16; 2], ArchiveError> {
    let time = jiff::tz::TimeZone::UTC.to_datetime(stamp);
    let parts = [time.month(), time.day(), time.hour(), time.minute(), time.second()];
    let [month, day, hour, minute, second] = parts.map(|part| u16::from(part.unsigned_abs()));
    let year =
        u16::try_from(time.year()).ok().and_then(|year| year.checked_sub(1980)).filter(|year| *year < 128);
    let year = year.ok_or(ArchiveError::Timestamp { stamp })?;
    Ok([(hour << 11) | (minute << 5) | (second / 2), (year << 9) | (month << 5) | day])
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

    /// Large numbers stand in records of their own, which the library reads.
    #[test]
    fn counts_more_members_than_two_bytes_do() {
        let mut out = Cursor::new(Vec::new());
        let mut archive = ArchiveWriter::new(&mut out, EARLIEST).unwrap();
        for index in 0..66_000 {
            let name = MemberName::new(&format!("items/{index}.xml")).unwrap();
            archive.member(&name, |_| Ok::<_, ArchiveError>(())).unwrap();
        }
        archive.finish().unwrap();
        let mut read = zip::ZipArchive::new(out).unwrap();
        assert_eq!(read.len(), 66_000);
        assert_eq!(read.by_index(65_999).unwrap().name().unwrap(), "items/65999.xml");
    }

    /// An archive that begins beyond 4 GiB, in a place that only pretends to hold what comes before.
    #[test]
    fn places_members_beyond_four_gibibytes() {
        const BEFORE: u64 = 5 << 30;
        let mut archive = ArchiveWriter::new(Vec::new(), EARLIEST).unwrap();
        archive.offset = BEFORE;
        let name = MemberName::new("a.xml").unwrap();
        let written = |w: &mut dyn Write| Ok::<_, ArchiveError>(w.write_all(b"<far/>")?);
        archive.member(&name, written).unwrap();
        let mut entry = archive.directory.finish().unwrap();
        entry.rewind().unwrap();
        let mut directory = Vec::new();
        DeflateDecoder::new(entry).read_to_end(&mut directory).unwrap();
        assert_eq!(&directory[42..46], [0xFF; 4]);
        assert_eq!(&directory[51..], [&[1, 0, 8, 0][..], &BEFORE.to_le_bytes()].concat());
        assert_eq!(&archive.out[..4], b"PK\x03\x04");
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
