//! Packing what goes into an archive: whole files, or pieces of long ones, each on whichever thread.

use std::io;

use flate2::{Compress, Compression, Crc, FlushCompress, Status};
use libdeflater::{CompressionLvl, Compressor};

use super::scratch::{Scratch, ScratchFile};

/// libdeflate's level for whole files: what it packs is as long as zlib's at 6, to two in a thousand.
/// Fixed, as the other one, because another level gives other bytes.
const FILES_LEVEL: i32 = 5;
/// Deflate's usual middle level, for pieces.
const PIECES_LEVEL: u32 = 6;

/// What is known of a file once it is packed.
#[derive(Debug, Default)]
pub struct Packed {
    /// The checksum of what was packed.
    pub crc: Crc,
    /// How many bytes it has packed.
    pub packed: u64,
    /// How many bytes it has unpacked.
    pub unpacked: u64,
}

impl Packed {
    /// Adds what is known of the piece that follows.
    fn followed_by(&mut self, next: &Self) {
        self.crc.combine(&next.crc);
        self.packed += next.packed;
        self.unpacked += next.unpacked;
    }
}

/// A piece of a file, packed so that the next piece can follow it.
#[derive(Debug)]
pub struct Piece {
    told: Packed,
    packed: Box<[u8]>,
}

/// Pieces of one file in their order, kept until the file is written.
pub struct Pieces {
    told: Packed,
    kept: Box<dyn ScratchFile>,
}

impl Pieces {
    /// None yet, to be kept there.
    ///
    /// # Errors
    /// If nothing can be kept there.
    pub fn kept_in(scratch: Scratch) -> io::Result<Self> {
        Ok(Self { told: Packed::default(), kept: scratch.open()? })
    }

    /// Adds the piece that follows.
    ///
    /// # Errors
    /// If it cannot be kept.
    pub fn add(&mut self, piece: &Piece) -> io::Result<()> {
        self.told.followed_by(&piece.told);
        self.kept.write_all(&piece.packed)
    }

    /// What is known of a file that consists of these, one after the other.
    pub(super) fn told(all: &[Self]) -> Packed {
        let mut whole = Packed::default();
        all.iter().for_each(|pieces| whole.followed_by(&pieces.told));
        whole
    }

    /// Gives all of them out and tells how many bytes they have.
    pub(super) fn write(mut self, out: &mut impl io::Write) -> io::Result<u64> {
        self.kept.rewind()?;
        io::copy(&mut self.kept, out)
    }
}

/// Packs, over and over in the same memory. Whole files are packed by libdeflate, which is quicker; it cannot leave the end of a piece
/// open, so pieces are packed by the library that reads archives, too.
pub struct Packer {
    files: Compressor,
    /// Where files are packed to, before it is known how long that gets.
    room: Vec<u8>,
    pieces: Compress,
}

impl Default for Packer {
    fn default() -> Self {
        let level = CompressionLvl::new(FILES_LEVEL).expect("libdeflate has levels up to 12");
        let pieces = Compress::new(Compression::new(PIECES_LEVEL), false);
        Self { files: Compressor::new(level), room: Vec::new(), pieces }
    }
}

impl Packer {
    /// Packs a whole file, behind what `into` holds.
    pub fn pack(&mut self, file: &[u8], into: &mut Vec<u8>) -> Packed {
        let most = self.files.deflate_compress_bound(file.len());
        self.room.resize(self.room.len().max(most), 0);
        let packed = self.files.deflate_compress(file, &mut self.room);
        let packed = packed.expect("there is room for the longest result");
        into.extend_from_slice(&self.room[..packed]);
        Packed { crc: checksum(file), packed: packed as u64, unpacked: file.len() as u64 }
    }

    /// Packs a piece of a file; `last` tells that no other follows.
    pub fn piece(&mut self, piece: &[u8], last: bool) -> Piece {
        let flush = if last { FlushCompress::Finish } else { FlushCompress::Sync };
        let mut packed = std::mem::take(&mut self.room);
        packed.clear();
        packed.reserve(piece.len() / 8 + 64);
        self.pieces.reset();
        loop {
            let read = usize::try_from(self.pieces.total_in()).expect("it is in memory");
            let status = self.pieces.compress_vec(&piece[read..], &mut packed, flush);
            match status.expect("packing in memory cannot fail") {
                Status::StreamEnd => break,
                // What does not fill the room has come to its end.
                _ if !last && packed.len() < packed.capacity() => break,
                _ => packed.reserve(piece.len() / 8 + 64),
            }
        }
        let told = Packed { crc: checksum(piece), packed: packed.len() as u64, unpacked: piece.len() as u64 };
        // Pieces are kept until the whole package is written, in no more room than they need.
        let piece = Piece { told, packed: packed.as_slice().into() };
        self.room = packed;
        piece
    }
}

fn checksum(bytes: &[u8]) -> Crc {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    /// Texts that repeat themselves, and bytes that do not.
    fn contents() -> Vec<Vec<u8>> {
        let mut state = 1_u32;
        let noise = (0..200_000).map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state.to_be_bytes()[0]
        });
        let text = (0..20_000).flat_map(|number| format!("<value>{number}</value>\n").into_bytes());
        vec![Vec::new(), b"<item/>".to_vec(), text.collect(), noise.collect()]
    }

    fn unpacked(packed: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        flate2::read::DeflateDecoder::new(packed).read_to_end(&mut bytes).unwrap();
        bytes
    }

    #[test]
    fn files_and_pieces_are_unpacked_by_another_program() {
        let mut packer = Packer::default();
        let contents = contents();
        for content in &contents {
            let mut packed = b"before".to_vec();
            let told = packer.pack(content, &mut packed);
            assert_eq!(told.packed, packed.len() as u64 - 6);
            assert!(unpacked(&packed[6..]) == *content);
        }
        let last = contents.len() - 1;
        let mut pieces = [Scratch::MEMORY, Scratch::MEMORY].map(|scratch| Pieces::kept_in(scratch).unwrap());
        for (index, content) in contents.iter().enumerate() {
            pieces[index / 2].add(&packer.piece(content, index == last)).unwrap();
        }
        let whole = Pieces::told(&pieces);
        let mut joined = Vec::new();
        let written = pieces.map(|pieces| pieces.write(&mut joined).unwrap());
        assert_eq!(written.iter().sum::<u64>(), joined.len() as u64);
        assert!(unpacked(&joined) == contents.concat());
        assert_eq!(whole.crc.sum(), checksum(&contents.concat()).sum());
        assert_eq!([whole.packed, whole.unpacked], [joined.len() as u64, contents.concat().len() as u64]);
    }
}
