//! Finding the column of a link in the gradebook, or making it (AGS 2.0, 3.2).

use std::collections::BTreeSet;

use jiff::Timestamp;
use reqwest::Method;
use serde::Deserialize;
use serde_json::json;
use url::Url;

use super::paging::List;
use super::{Call, GradeError, GradeService, refusal, to_json};
use crate::lti::vocabulary as v;
use crate::storage::{Placement, Registration};

/// Our mark on columns: of several of one link, ours is the one with it.
const TAG: &str = "grade";

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "camelCase")]
struct LineItem {
    id: Url,
    resource_link_id: Option<String>,
    resource_id: Option<String>,
    tag: Option<String>,
}

impl LineItem {
    fn is_ours(&self, placement: &Placement) -> bool {
        self.tag.as_deref() == Some(TAG)
            && self.resource_id.as_deref() == Some(placement.quiz.resource_id.as_str())
    }
}

/// What a column gets that has to be made.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NewColumn<'a> {
    /// What teachers read; not empty.
    pub(crate) label: &'a str,
    /// Points possible; platforms rescale what we send.
    pub(crate) maximum: u32,
}

impl GradeService {
    /// Finds the placement's line item, or makes one where the platform allows it and there is none. `neighbours` are the
    /// other placements of the course: their line items are left alone.
    pub(crate) async fn find_line_item(
        &self,
        registration: &Registration,
        placement: &Placement,
        neighbours: &[Placement],
        new: NewColumn<'_>,
        now: Timestamp,
    ) -> Result<Url, GradeError> {
        let grades = placement.quiz.grades.as_ref();
        let container = grades
            .and_then(|grades| grades.line_items.as_ref())
            .ok_or_else(|| GradeError::permanent("the platform takes no grades for this link"))?;
        let may = |scope: &str| grades.is_some_and(|grades| grades.scopes.contains(scope));
        let scope = if may(v::SCOPE_LINE_ITEM) {
            v::SCOPE_LINE_ITEM
        } else if may(v::SCOPE_LINE_ITEM_READ) {
            v::SCOPE_LINE_ITEM_READ
        } else {
            return Err(GradeError::permanent(
                "the platform does not let us look for this link's gradebook column",
            ));
        };
        let list = |filters: &[(&str, &str)]| {
            let mut first = container.clone();
            first.query_pairs_mut().extend_pairs(filters);
            List { first, scope, media_type: v::MEDIA_LINE_ITEMS, of: "gradebook columns" }
        };
        let link = placement.quiz.link.resource_link.as_str();
        let of_link = self.list(registration, placement, &list(&[("resource_link_id", link)]), now).await?;
        if let Some(found) = of_this_link(placement, of_link, scope)? {
            return Ok(found);
        }
        let own = [("resource_id", placement.quiz.resource_id.as_str()), ("tag", TAG)];
        let of_quiz = self.list(registration, placement, &list(&own), now).await?;
        if let Some(found) = of_copied_link(placement, neighbours, of_quiz)? {
            return Ok(found);
        }
        if scope == v::SCOPE_LINE_ITEM {
            self.make_line_item(registration, placement, container, new, now).await
        } else {
            Err(GradeError::permanent("this link has no column in the gradebook"))
        }
    }

    async fn make_line_item(
        &self,
        registration: &Registration,
        placement: &Placement,
        container: &Url,
        new: NewColumn<'_>,
        now: Timestamp,
    ) -> Result<Url, GradeError> {
        let quiz = &placement.quiz;
        let call = Call {
            method: Method::POST,
            url: container.clone(),
            scope: v::SCOPE_LINE_ITEM,
            accept: Some(v::MEDIA_LINE_ITEM),
            content: Some((
                v::MEDIA_LINE_ITEM,
                to_json(&json!({
                    "label": new.label,
                    "scoreMaximum": new.maximum,
                    "resourceLinkId": quiz.link.resource_link,
                    "resourceId": quiz.resource_id,
                    "tag": TAG,
                })),
            )),
        };
        let answer = self.call(registration, placement, &call).await?;
        if !answer.status.is_success() {
            return Err(refusal(&answer, now));
        }
        serde_json::from_slice::<LineItem>(&answer.body)
            .map(|made| made.id)
            .map_err(|_| GradeError::permanent("the platform's new gradebook column cannot be read"))
    }
}

/// The column of this very link. Of several, ours; where we may make columns, the first of those that are alike, since one
/// more would help nobody.
fn of_this_link(
    placement: &Placement,
    listed: Vec<LineItem>,
    scope: &str,
) -> Result<Option<Url>, GradeError> {
    // Some platforms ignore the filter; a column of another link is never this one's.
    let link = placement.quiz.link.resource_link.as_str();
    let of_link: Vec<_> =
        listed.into_iter().filter(|item| item.resource_link_id.as_deref() == Some(link)).collect();
    let (ours, others): (Vec<_>, Vec<_>) = of_link.into_iter().partition(|item| {
        item.tag.as_deref() == Some(TAG)
            || item.resource_id.as_deref() == Some(placement.quiz.resource_id.as_str())
    });
    let fitting = if ours.is_empty() { others } else { ours };
    match (fitting.len(), scope) {
        (2.., v::SCOPE_LINE_ITEM_READ) => {
            Err(GradeError::permanent("this link has several columns in the gradebook"))
        }
        _ => Ok(fitting.into_iter().next().map(|item| item.id)),
    }
}

/// In a copied course a platform may give links new ids, while columns keep the resource id and the tag we gave them. A
/// column that belongs to another quiz of the same course is not meant.
fn of_copied_link(
    placement: &Placement,
    neighbours: &[Placement],
    listed: Vec<LineItem>,
) -> Result<Option<Url>, GradeError> {
    let taken_links: BTreeSet<&str> =
        neighbours.iter().map(|other| other.quiz.link.resource_link.as_str()).collect();
    let taken: BTreeSet<&Url> = neighbours
        .iter()
        .filter_map(|other| other.quiz.grades.as_ref().and_then(|grades| grades.line_item.as_ref()))
        .collect();
    let mut fitting = listed.into_iter().filter(|item| {
        let of_neighbour = item.resource_link_id.as_deref().is_some_and(|link| taken_links.contains(link));
        item.is_ours(placement) && !of_neighbour && !taken.contains(&item.id)
    });
    match (fitting.next(), fitting.next()) {
        (found, None) => Ok(found.map(|item| item.id)),
        (_, Some(_)) => Err(GradeError::permanent(
            "the gradebook has several columns that may be this quiz's, from a copied course; remove all but one",
        )),
    }
}
