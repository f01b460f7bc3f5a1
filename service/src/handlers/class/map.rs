//! Pupils by questions: each pupil's best attempt at a glance.

use std::collections::BTreeMap;

use qbank::marking::{Mark, Verdict};

use super::people::People;
use crate::handlers::answer::PageError;
use crate::handlers::opened_quiz::{best_attempt, marks};
use crate::pages::class::{MapCell, MapRow, MapView};
use crate::pages::drawings::charts::{self, Cell, ClassMap};
use crate::pages::marked::Tone;
use crate::storage::{Attempt, AttemptResult, UserId};
use crate::texts::Texts;

/// The map; none before the first pupil handed in.
pub(super) fn map(
    texts: &'static Texts,
    people: &People<'_>,
    attempts: &[Attempt],
) -> Result<Option<MapView>, PageError> {
    let mut by_pupil: BTreeMap<&UserId, Vec<&Attempt>> = BTreeMap::new();
    for attempt in attempts {
        by_pupil.entry(&attempt.user).or_default().push(attempt);
    }
    let mut rows = Vec::new();
    for (user, attempts) in by_pupil {
        rows.push(row(texts, people, user, &attempts)?);
    }
    rows.sort_by(|one, other| one.label.cmp(&other.label));
    let columns = rows.iter().map(|row| row.cells.len()).max().unwrap_or_default();
    let picture = picture(texts, columns, &rows);
    Ok((columns > 0).then_some(MapView { picture, columns, rows }))
}

fn picture(texts: &'static Texts, columns: usize, rows: &[MapRow]) -> ClassMap {
    let row = |row: &MapRow| {
        let cells = row.cells.iter().map(|cell| drawn(cell.tone));
        let none = std::iter::repeat(Cell::NotAnswered);
        charts::MapRow { pupil: row.label.clone(), cells: cells.chain(none).take(columns).collect() }
    };
    ClassMap {
        texts,
        id: "class-map",
        title: texts.say("class-map"),
        questions: (1..=columns).map(|number| number.to_string()).collect(),
        rows: rows.iter().map(row).collect(),
    }
}

fn drawn(tone: Tone) -> Cell {
    match tone {
        Tone::Right => Cell::Right,
        Tone::Own => Cell::Own,
        Tone::Form => Cell::Form,
        Tone::Wrong => Cell::Wrong,
        Tone::Quiet => Cell::Blank,
    }
}

fn row(
    texts: &Texts,
    people: &People<'_>,
    user: &UserId,
    attempts: &[&Attempt],
) -> Result<MapRow, PageError> {
    let best = best_attempt(attempts.iter().copied());
    let marked = best.and_then(|attempt| Some((attempt, attempt.result.as_ref()?)));
    let cells = match marked {
        Some((attempt, result)) => cells(texts, attempt, result)?,
        None => Vec::new(),
    };
    Ok(MapRow {
        label: people.label(user),
        mark: people.mark(user),
        url: marked.map(|(attempt, _)| address(attempt)),
        total: match marked {
            Some((_, result)) => texts
                .with("class-map-cell", &[("points", result.points.into()), ("most", result.maximum.into())]),
            None => texts.say("class-map-open"),
        },
        cells,
    })
}

fn cells(texts: &Texts, attempt: &Attempt, result: &AttemptResult) -> Result<Vec<MapCell>, PageError> {
    let cell = |(mark, number): (&Mark, usize)| {
        let tone = tone(mark);
        let changed = result.overrides.iter().any(|change| change.question == mark.question);
        MapCell {
            url: (changed || tone != Tone::Right).then(|| format!("{}#q{number}", address(attempt))),
            tone,
            points: format!("{}/{}", mark.points, mark.max),
            words: texts.say(words(tone)),
            changed: changed.then(|| texts.say("class-map-changed")),
        }
    };
    Ok(marks(result)?.iter().zip(1..).map(cell).collect())
}

/// The page of an attempt, as seen from the class page: short, since a map has many of them.
fn address(attempt: &Attempt) -> String {
    format!("{}/{}", attempt.placement, attempt.id)
}

/// One sign for a whole question; own values and other forms show only where nothing is wrong.
fn tone(mark: &Mark) -> Tone {
    let all = |verdicts: &[Verdict]| mark.steps.iter().all(|step| verdicts.contains(&step.verdict));
    if mark.points == mark.max {
        if all(&[Verdict::Correct]) || !all(&[Verdict::Correct, Verdict::FollowThrough]) {
            Tone::Right
        } else {
            Tone::Own
        }
    } else if all(&[Verdict::Blank]) {
        Tone::Quiet
    } else if mark.points > 0 {
        Tone::Form
    } else {
        Tone::Wrong
    }
}

/// The message for a sign.
fn words(tone: Tone) -> &'static str {
    match tone {
        Tone::Right => "class-map-right",
        Tone::Own => "class-map-own",
        Tone::Form => "class-map-part",
        Tone::Wrong => "class-map-wrong",
        Tone::Quiet => "class-map-blank",
    }
}
