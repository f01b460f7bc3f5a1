//! The bar for diagnosis: a simulated class, and the curve over the number of questions.
#![allow(unreachable_pub, reason = "shared by two programs as a module of each")]
#![allow(clippy::print_stdout, reason = "an example talks to the person who runs it")]
use std::collections::BTreeMap;

use qbank::{bank, diagnosis::collisions, draw::Draws, misconceptions::{self, Misconception}};

mod simulation;
use simulation::{Bank, Choice, Pupil, SLIPS, Tally};

const PER_FAMILY: usize = 24;
const PUPILS: usize = 1000;
const NONE: usize = 250;
const COUNTS: [usize; 6] = [4, 6, 8, 10, 12, 16];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let families = bank::families()?;
    let bank = Bank::sampled(&families, PER_FAMILY);
    let shown = bank.shown();
    println!("{} items of {} families; {} misconceptions", bank.candidates.len(), families.len(), shown.len());
    println!("{}", shown.iter().map(|one| one.id).collect::<Vec<_>>().join(" "));
    for one in collisions(&bank.probes) {
        println!("collision {} {} {} {}", one.group.name(), one.pair.0, one.pair.1, one.items);
    }
    let mut open: Vec<usize> = misconceptions::all().enumerate().filter(|(_, one)| shown.iter().any(|s| s.id == one.id)).map(|(at, _)| at).collect();
    while !open.is_empty() {
        let best = bank.probes.iter().max_by_key(|probe| open.iter().filter(|at| probe.class(**at) != 0).count()).unwrap();
        let n = open.iter().filter(|at| best.class(**at) != 0).count();
        println!("cover {} {n} of {}", best.item, open.len());
        if n == 0 { break; }
        open.retain(|at| best.class(*at) == 0);
    }
    if let Some(only) = std::env::args().nth(1) {
        for only in only.split(',') {
        let (place, held) = misconceptions::all().enumerate().find(|(_, one)| one.id == only).unwrap();
        let mut fams: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
        for (probe, one) in bank.probes.iter().zip(&bank.candidates) {
            let e = fams.entry(&one.family.id).or_default();
            e.1 += 1;
            if probe.class(place) != 0 { e.0 += 1; }
        }
        fams.retain(|_, e| e.0 > 0);
        println!("== {only} shows in {fams:?}");
        for index in 0..2 {
            let mut draws = Draws::keyed(&format!("pupil/{index}"));
            Pupil { held: Some(held), slips: SLIPS }.examined(&bank, Choice::Tool, 16, &mut draws);
            println!("--");
        }
        }
        return Ok(());
    }
    let mut deal = Draws::keyed("class");
    let class: Vec<Option<&'static Misconception>> = (0..PUPILS)
        .map(|index| if index < NONE { None } else { deal.one_of(&shown).copied() })
        .collect();
    for choice in [Choice::Tool, Choice::Random] {
        let mut tallies = [[Tally::default(); 2]; COUNTS.len()];
        let mut by: BTreeMap<&str, (u32, u32, BTreeMap<String, u32>)> = BTreeMap::new();
        for (index, held) in class.iter().enumerate() {
            let mut draws = Draws::keyed(&format!("pupil/{index}"));
            let named = Pupil { held: *held, slips: SLIPS }.examined(&bank, choice, 16, &mut draws);
            for (at, count) in COUNTS.iter().enumerate() {
                tallies[at][usize::from(held.is_some())].count(*held, &named[count - 1]);
            }
            let entry = by.entry(held.map_or("none", |held| held.id)).or_default();
            entry.0 += 1;
            let mut tally = Tally::default();
            tally.count(*held, &named[11]);
            entry.1 += tally.right;
            if tally.right == 0 {
                *entry.2.entry(named[11].join("+")).or_default() += 1;
            }
        }
        for (count, [none, holders]) in COUNTS.iter().zip(tallies) {
            println!("{choice:?} {count}: {:?} {:?}", holders, none);
        }
        if choice == Choice::Tool {
            for (id, (pupils, right, else_)) in by {
                if right < pupils {
                    println!("{id} {right}/{pupils} {else_:?}");
                }
            }
        }
    }
    Ok(())
}
