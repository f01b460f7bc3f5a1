//! How long a package takes from its seed, beside what packing its bytes alone takes: run by `tests/bench/package`.
//!
//!     package_speed ITEMS THREADS ROUNDS FAMILY...
//!
//! Each round packs the package's files by deflate of level 6 alone (the limit), then draws, proves and writes the package, then
//! examines it. A line of JSON for each round, in seconds and bytes.
use std::{
    error::Error,
    io::{Cursor, Read, Write, stdout},
    num::NonZeroUsize,
    sync::atomic::{AtomicUsize, Ordering},
    thread,
    time::Instant,
};

use exporters::{
    examine::Examination,
    qti::{PackageOptions, QtiVersion, write_package_telling},
    source::{Draws, SectionHead},
};
use flate2::{Compress, Compression, FlushCompress};
use qbank::{bank, family::Family};

#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Long files are cut for the limit, so that no thread has to pack one alone.
const CUT: usize = 128 << 10;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [items, threads, rounds, names @ ..] = &arguments[..] else {
        return Err("expected: package_speed ITEMS THREADS ROUNDS FAMILY...".into());
    };
    let (items, threads, rounds): (usize, usize, usize) = (items.parse()?, threads.parse()?, rounds.parse()?);
    let families: Vec<Family> = names.iter().map(|name| bank::family(name)).collect::<Result<_, _>>()?;
    let files = unpacked(&write(&families, items, threads)?)?;
    for _ in 0..rounds {
        let begun = Instant::now();
        let limit_bytes = pack(&files, threads);
        let limit = begun.elapsed().as_secs_f64();

        let begun = Instant::now();
        let package = write(&families, items, threads)?;
        let write = begun.elapsed().as_secs_f64();

        let begun = Instant::now();
        let report = Examination::open(Cursor::new(&package))?.run_on(
            NonZeroUsize::new(threads).unwrap_or(NonZeroUsize::MIN),
            &families,
            |_| (),
        );
        let examine = begun.elapsed().as_secs_f64();
        if !report.holds {
            return Err(format!("the package does not hold: {report}").into());
        }
        let unpacked: usize = files.iter().map(Vec::len).sum();
        writeln!(
            stdout(),
            "{{\"limit\":{limit},\"limit_bytes\":{limit_bytes},\"write\":{write},\"bytes\":{},\
             \"unpacked\":{unpacked},\"examine\":{examine}}}",
            packed(&package)?,
        )?;
    }
    Ok(())
}

/// The package of so many items, shared out over the families.
fn write(families: &[Family], items: usize, threads: usize) -> Result<Vec<u8>, Box<dyn Error>> {
    let share = u32::try_from(items.div_ceil(families.len()))?;
    let draws = Draws {
        id: "speed".into(),
        title: "Speed".into(),
        locale: "en-US".into(),
        seed: "speed".into(),
        sections: families.iter().map(|family| (head(family), family, share)).collect(),
    };
    let threads = NonZeroUsize::new(threads).ok_or("expected a thread")?;
    let options = PackageOptions { version: QtiVersion::V22, threads, ..PackageOptions::default() };
    let mut out = Vec::new();
    write_package_telling(&draws, &options, &mut out, &mut |_, _| ())?;
    Ok(out)
}

fn head(family: &Family) -> SectionHead {
    SectionHead { id: format!("s-{}", family.id), title: family.id.to_string(), pick: 2 }
}

/// How many bytes the packed files of a package have, without what the archive says of them.
fn packed(package: &[u8]) -> Result<u64, Box<dyn Error>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(package))?;
    (0..archive.len()).map(|index| Ok(archive.by_index_raw(index)?.compressed_size())).sum()
}

/// The files in a package, long ones in pieces.
fn unpacked(package: &[u8]) -> Result<Vec<Vec<u8>>, Box<dyn Error>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(package))?;
    let mut files = Vec::new();
    for index in 0..archive.len() {
        let mut file = Vec::new();
        archive.by_index(index)?.read_to_end(&mut file)?;
        files.extend(file.chunks(CUT).map(<[u8]>::to_vec));
    }
    Ok(files)
}

/// Packs all files by deflate of level 6 and tells how many bytes that gives. Each thread has one packer and uses it again.
fn pack(files: &[Vec<u8>], threads: usize) -> usize {
    let (next, total) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let work = || {
        let mut packer = Compress::new(Compression::new(6), false);
        let mut packed = vec![0; 2 * CUT];
        while let Some(file) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
            packer.reset();
            packer.compress(file, &mut packed, FlushCompress::Finish).expect("the room is twice the file");
            total.fetch_add(usize::try_from(packer.total_out()).unwrap_or_default(), Ordering::Relaxed);
        }
    };
    thread::scope(|scope| (0..threads).for_each(|_| drop(scope.spawn(work))));
    total.into_inner()
}
