//! Packing what goes into an archive: whole files, or pieces of long ones, each on whichever thread.

use flate2::{Compress, Compression, Crc, FlushCompress};

/// Deflate's usual middle level. Fixed, because another level gives other bytes.
const LEVEL: u32 = 6;

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
    /// What is known of a file from its pieces.
    #[must_use]
    pub fn of_pieces(pieces: &[Piece]) -> Self {
        let mut whole = Self::default();
        for Piece { told, .. } in pieces {
            whole.crc.combine(&told.crc);
            whole.packed += told.packed;
            whole.unpacked += told.unpacked;
        }
        whole
    }
}

/// A piece of a file, packed so that the next piece can follow it.
#[derive(Debug)]
pub struct Piece {
    told: Packed,
    /// The bytes.
    pub(super) packed: Vec<u8>,
}

/// Packs, over and over in the same memory.
pub struct Packer {
    deflate: Compress,
}

impl Default for Packer {
    fn default() -> Self {
        Self { deflate: Compress::new(Compression::new(LEVEL), false) }
    }
}

impl Packer {
    /// Packs a whole file, behind what `into` holds.
    pub fn pack(&mut self, file: &[u8], into: &mut Vec<u8>) -> Packed {
        self.deflated(file, into, true)
    }

    /// Packs a piece of a file; `last` tells that no other follows.
    pub fn piece(&mut self, piece: &[u8], last: bool) -> Piece {
        let mut packed = Vec::new();
        let told = self.deflated(piece, &mut packed, last);
        Piece { told, packed }
    }
}

impl Packer {
    fn deflated(&mut self, bytes: &[u8], into: &mut Vec<u8>, last: bool) -> Packed {
        let flush = if last { FlushCompress::Finish } else { FlushCompress::Sync };
        let mut crc = Crc::new();
        crc.update(bytes);
        let begin = into.len();
        self.deflate.reset();
        loop {
            into.reserve(bytes.len() / 4 + 64);
            let read = usize::try_from(self.deflate.total_in()).unwrap_or(usize::MAX);
            let status = self.deflate.compress_vec(&bytes[read.min(bytes.len())..], into, flush);
            let done = match status.expect("packing in memory cannot fail") {
                flate2::Status::StreamEnd => true,
                _ => !last && into.len() < into.capacity(),
            };
            if done {
                break;
            }
        }
        Packed { crc, packed: (into.len() - begin) as u64, unpacked: bytes.len() as u64 }
    }
}
