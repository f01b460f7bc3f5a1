//! The bar of diagnosis: how often the right misconception is named in a simulated class, over the number of questions,
//! with questions chosen by the tool and by chance; and which misconceptions no question tells apart.
//! `cargo run --release -p qbank --example diagnosis_bar`
#![allow(clippy::print_stdout, reason = "an example talks to the person who runs it")]
#![allow(unreachable_pub, reason = "the simulation is a module of a test, too")]
use std::collections::BTreeMap;

use qbank::{
    bank,
    diagnosis::{Group, collisions},
    draw::Draws,
    misconceptions::Misconception,
};

mod simulation;
use simulation::{Bank, Choice, Pupil, SLIPS, Tally};

/// Questions looked at in each family, and how many of them may be asked.
const DRAWN: usize = 48;
const KEPT: usize = 12;
const PUPILS: usize = 1000;
/// How many of them hold no misconception.
const NONE: usize = 250;
const COUNTS: [usize; 6] = [4, 6, 8, 10, 12, 16];
/// The number of questions that the bar is about, as a place in `COUNTS`.
const BAR: usize = 4;

/// What a class's quiz is on.
struct Topic {
    name: &'static str,
    groups: &'static [Group],
}

const TOPICS: [Topic; 2] = [
    Topic { name: "nothing known beforehand", groups: &Group::ALL },
    Topic {
        name: "a quiz on comparing, adding and subtracting",
        groups: &[Group::Addition, Group::Subtraction, Group::Comparison],
    },
];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let families = bank::families()?;
    let bank = Bank::sampled(&families, DRAWN, KEPT);
    let shown = bank.shown();
    println!(
        "{} questions of {} families ({KEPT} of {DRAWN} each); they show {} misconceptions:",
        bank.candidates.len(),
        families.len(),
        shown.len()
    );
    for group in Group::ALL {
        let ids: Vec<&str> =
            shown.iter().filter(|one| Group::of(one) == group).map(|one| one.id).collect();
        println!("  {} {}: {}", ids.len(), group.name(), ids.join(", "));
    }
    print_collisions(&bank);
    for topic in &TOPICS {
        print_bar(&bank, topic, &shown);
    }
    Ok(())
}

fn print_collisions(bank: &Bank<'_>) {
    let found = collisions(&bank.probes);
    println!("\npairs that none of these questions tells apart: {}", found.len());
    for one in found {
        println!("  {}: {} = {} ({} questions)", one.group.name(), one.pair.0, one.pair.1, one.items);
    }
}

fn print_bar(bank: &Bank<'_>, topic: &Topic, shown: &[&'static Misconception]) {
    let held: Vec<&'static Misconception> =
        shown.iter().copied().filter(|one| topic.groups.contains(&Group::of(one))).collect();
    println!("\n{}: {PUPILS} pupils, {NONE} of them hold none, the others one of {}", topic.name, held.len());
    println!("seeds: \"diagnosis-bar\" for questions, \"class\" for what is held, \"pupil/0\" to \"pupil/{}\"", PUPILS - 1);
    println!("{:>9}  {:^23}  {:^23}", "", "chosen by the tool", "chosen by chance");
    println!("{:>9}  {:>7} {:>7} {:>7}  {:>7} {:>7} {:>7}", "questions", "right", "other", "none*", "right", "other", "none*");
    let (tool, missed) = tallies(bank, topic, &held, Choice::Tool);
    let (chance, _) = tallies(bank, topic, &held, Choice::Random);
    for (at, count) in COUNTS.iter().enumerate() {
        println!("{count:>9}  {}  {}", row(&tool[at]), row(&chance[at]));
    }
    println!("right: the right name, alone or with one other; other: anything else named (of all who hold one)");
    println!("none*: named although none is held (of all who hold none)");
    println!("not named rightly after {} questions:", COUNTS[BAR]);
    for (id, (pupils, said)) in missed {
        println!("  {id}: {pupils} {}", said.into_iter().collect::<Vec<_>>().join("; "));
    }
}

fn row([none, holders]: &[Tally; 2]) -> String {
    let percent = |count: u32, of: u32| {
        let tenths = count * 1000 / of;
        format!("{:>5}.{}", tenths / 10, tenths % 10)
    };
    let (right, other) = (percent(holders.right, holders.pupils), percent(holders.wrong, holders.pupils));
    format!("{right} {other} {}", percent(none.wrong, none.pupils))
}

/// By misconception: how many pupils it was missed in, and what was said instead.
type Missed = BTreeMap<&'static str, (u32, Vec<String>)>;

/// For each number of questions: pupils who hold none, pupils who hold one.
fn tallies(
    bank: &Bank<'_>,
    topic: &Topic,
    held: &[&'static Misconception],
    choice: Choice,
) -> ([[Tally; 2]; COUNTS.len()], Missed) {
    let mut deal = Draws::keyed("class");
    let mut tallies = [[Tally::default(); 2]; COUNTS.len()];
    let mut missed = Missed::new();
    for index in 0..PUPILS {
        let held = if index < NONE { None } else { deal.one_of(held).copied() };
        let mut draws = Draws::keyed(&format!("pupil/{index}"));
        let pupil = Pupil { held, slips: SLIPS };
        let named = pupil.examined(bank, (choice, topic.groups), COUNTS[COUNTS.len() - 1], &mut draws);
        for (at, count) in COUNTS.iter().enumerate() {
            let tally = &mut tallies[at][usize::from(held.is_some())];
            let before = tally.right;
            tally.count(held, &named[count - 1]);
            if let Some(held) = held.filter(|_| at == BAR && tally.right == before) {
                let entry = missed.entry(held.id).or_default();
                entry.0 += 1;
                let said = named[count - 1].join(" + ");
                if !said.is_empty() {
                    entry.1.push(said);
                }
            }
        }
    }
    (tallies, missed)
}
