//! The gradebook as one picture: pupils by line items, for the teacher's page and for tests.

use jiff::Timestamp;
use serde::Serialize;

use super::line_items;
use super::people::Person;
use super::points::Points;
use super::scores::{ActivityProgress, GradingProgress};
use super::state::{Platform, State};

/// The gradebook at one moment.
#[derive(Debug, Clone, Serialize)]
pub struct Gradebook {
    /// One per line item, oldest first.
    pub columns: Vec<Column>,
    /// One per pupil.
    pub rows: Vec<Row>,
}

/// A line item.
#[derive(Debug, Clone, Serialize)]
pub struct Column {
    /// Address of the line item.
    pub line_item: String,
    /// Its label.
    pub label: String,
    /// Its maximum.
    pub maximum: Points,
    /// The activity it belongs to.
    pub resource_link_id: Option<String>,
}

/// A pupil and their cells, in the order of the columns.
#[derive(Debug, Clone, Serialize)]
pub struct Row {
    /// The pupil.
    pub pupil: Person,
    /// `None` where nothing was ever received.
    pub cells: Vec<Option<Cell>>,
}

/// What is on record for a pupil and a line item.
#[derive(Debug, Clone, Serialize)]
pub struct Cell {
    /// Final points on the line item's scale, the teacher's before the tool's; `None` without a final score.
    pub points: Option<Points>,
    /// How far the pupil has come.
    pub activity_progress: ActivityProgress,
    /// How far the grading has come.
    pub grading_progress: GradingProgress,
    /// Plain text from the tool.
    pub comment: Option<String>,
    /// When the score changed at the tool.
    pub timestamp: Timestamp,
    /// When it arrived here.
    pub received: Timestamp,
}

/// The gradebook as of now.
pub(super) fn snapshot(platform: &Platform) -> Gradebook {
    let state = platform.state();
    let columns = state.line_items.all().map(|(id, body)| Column {
        line_item: line_items::url(platform, id),
        label: body.label.clone(),
        maximum: body.score_maximum,
        resource_link_id: body.resource_link_id.clone(),
    });
    let rows = platform.members.pupils().map(|member| {
        let cell = |(id, body): (_, &line_items::LineItemBody)| {
            let mark = state.scores.teachers_mark(id, &member.person.id);
            match (state.scores.find(id, &member.person.id), mark) {
                (Some(recorded), mark) => Some(Cell {
                    points: mark
                        .map(|mark| mark.points)
                        .or_else(|| recorded.message.result(body.score_maximum)),
                    activity_progress: recorded.message.activity_progress,
                    grading_progress: recorded.message.grading_progress,
                    comment: recorded.message.comment.clone(),
                    timestamp: recorded.message.timestamp,
                    received: recorded.received,
                }),
                (None, Some(mark)) => Some(Cell {
                    points: Some(mark.points),
                    activity_progress: ActivityProgress::Initialized,
                    grading_progress: GradingProgress::NotReady,
                    comment: None,
                    timestamp: mark.at,
                    received: mark.at,
                }),
                (None, None) => None,
            }
        };
        Row { pupil: member.person.clone(), cells: state.line_items.all().map(cell).collect() }
    });
    Gradebook { columns: columns.collect(), rows: rows.collect() }
}

/// The teacher's own mark for a pupil in every column, or their cells emptied.
pub(super) fn set_mark(platform: &Platform, pupil_id: &str, points: Option<Points>) {
    let mut state = platform.state();
    let State { line_items, scores, .. } = &mut *state;
    for (id, _) in line_items.all() {
        match points {
            Some(points) => scores.mark(id, pupil_id, points),
            None => scores.clear(id, pupil_id),
        }
    }
}
