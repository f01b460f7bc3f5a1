//! The bar of diagnosis: how often the right misconception is named in a simulated class, over the number of questions,
//! with questions chosen by the tool and by chance; and which misconceptions no question tells apart.
//! `cargo run --release -p qbank --example diagnosis_bar [CONDITIONS]`; without a number all five conditions are simulated.
#![allow(clippy::print_stdout, reason = "an example talks to the person who runs it")]
#![allow(unreachable_pub, reason = "the simulation is a module of a test, too")]
use std::collections::BTreeMap;

use qbank::{
    bank,
    diagnosis::{Group, collisions},
    draw::Draws,
    misconceptions::{self, Misconception},
};

mod simulation;
use simulation::{Bank, Choice, Pupil, SLIPS, Tally};

/// Questions looked at in each family, and how many of them may be asked.
const DRAWN: usize = 96;
const KEPT: usize = 12;
const PUPILS: usize = 1000;
/// How many of them hold no misconception.
const NONE: usize = 250;
const COUNTS: [usize; 6] = [4, 6, 8, 10, 12, 16];
/// The number of questions that the bar is about, as a place in `COUNTS`.
const BAR: usize = 4;

/// One simulated class.
struct Condition {
    name: &'static str,
    /// Keys the draws of what is held and of each pupil's slips.
    seed: &'static str,
    /// What the tool is told that the quiz is on.
    groups: &'static [Group],
    slips: u64,
    everywhere: bool,
    /// Whether questions are chosen by chance, too, to compare.
    compared: bool,
}

const FIRST: Condition = Condition {
    name: "nothing known beforehand",
    seed: "class 1",
    groups: &Group::ALL,
    slips: SLIPS,
    everywhere: false,
    compared: true,
};

const CONDITIONS: [Condition; 5] = [
    FIRST,
    Condition { name: "nothing known beforehand, another class", seed: "class 2", compared: false, ..FIRST },
    Condition {
        name: "a quiz on comparing, adding and subtracting",
        seed: "class 3",
        groups: &[Group::Addition, Group::Subtraction, Group::Comparison],
        ..FIRST
    },
    Condition {
        name: "harder: twice as many slips",
        seed: "class 4",
        slips: 2 * SLIPS,
        compared: false,
        ..FIRST
    },
    Condition {
        name: "harder: what is held is at work in questions that are not about it, too",
        seed: "class 5",
        everywhere: true,
        compared: false,
        ..FIRST
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
        let ids: Vec<&str> = shown.iter().filter(|one| Group::of(one) == group).map(|one| one.id).collect();
        println!("  {} {}: {}", ids.len(), group.name(), ids.join(", "));
    }
    let gaps = misconceptions::all().filter(|one| shown.iter().all(|known| known.id != one.id));
    let gaps: Vec<&str> = gaps.map(|one| one.id).collect();
    println!("  {} are not shown by two questions or more: {}", gaps.len(), gaps.join(", "));
    print_collisions(&bank);
    let wanted = std::env::args().nth(1).map_or(Ok(CONDITIONS.len()), |number| number.parse())?;
    for condition in CONDITIONS.iter().take(wanted) {
        print_bar(&bank, condition, &shown);
    }
    Ok(())
}

fn print_collisions(bank: &Bank<'_>) {
    let found = collisions(&bank.probes);
    let never = found.iter().filter(|one| one.apart == 0).count();
    println!(
        "\npairs with the same wrong answers on some question: {}; never told apart: {never}",
        found.len()
    );
    println!("  the hardest to tell apart (questions with the same answers, questions with different ones):");
    for one in found.iter().take(12.max(never)) {
        println!("  {}: {} = {} ({}, {})", one.group.name(), one.pair.0, one.pair.1, one.same, one.apart);
    }
}

fn print_bar(bank: &Bank<'_>, condition: &Condition, shown: &[&'static Misconception]) {
    let held: Vec<&'static Misconception> =
        shown.iter().copied().filter(|one| condition.groups.contains(&Group::of(one))).collect();
    println!("\n{}", condition.name);
    println!(
        "{PUPILS} pupils, {NONE} of them hold none, the others one of {}; {} slips in 1000 answers; seed \"{}\"",
        held.len(),
        condition.slips,
        condition.seed
    );
    let columns = format!("{:>7} {:>7} {:>7}", "right", "other", "none*");
    let (tool, missed) = tallies(bank, condition, &held, Choice::Tool);
    if condition.compared {
        println!(
            "{:>9}  {:^23}  {:^23}\n{:>9}  {columns}  {columns}",
            "", "chosen by the tool", "by chance", "questions"
        );
        let (chance, _) = tallies(bank, condition, &held, Choice::Random);
        for (count, (tool, chance)) in COUNTS.iter().zip(tool.iter().zip(&chance)) {
            println!("{count:>9}  {}  {}", row(tool), row(chance));
        }
    } else {
        println!("{:>9}  {:^23}\n{:>9}  {columns}", "", "chosen by the tool", "questions");
        for (count, tool) in COUNTS.iter().zip(&tool) {
            println!("{count:>9}  {}", row(tool));
        }
    }
    println!("in percent; right: the right name, alone or with one other; other: anything else named;");
    println!("none*: something named, of those who hold none");
    println!("not rightly named after {} questions chosen by the tool:", COUNTS[BAR]);
    let missed = missed.into_iter().map(|(id, (pupils, said))| {
        let said = if said.is_empty() { String::new() } else { format!(" ({})", said.join("; ")) };
        format!("{pupils} {id}{said}")
    });
    let missed: Vec<String> = missed.collect();
    println!("  {}", if missed.is_empty() { "none".into() } else { missed.join(", ") });
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
    condition: &Condition,
    held: &[&'static Misconception],
    choice: Choice,
) -> ([[Tally; 2]; COUNTS.len()], Missed) {
    let mut deal = Draws::keyed(condition.seed);
    let mut tallies = [[Tally::default(); 2]; COUNTS.len()];
    let mut missed = Missed::new();
    for index in 0..PUPILS {
        let held = if index < NONE { None } else { deal.one_of(held).copied() };
        let mut draws = Draws::keyed(&format!("{}/{index}", condition.seed));
        let pupil = Pupil { held, slips: condition.slips, everywhere: condition.everywhere };
        let named = pupil.examined(bank, (choice, condition.groups), COUNTS[COUNTS.len() - 1], &mut draws);
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
