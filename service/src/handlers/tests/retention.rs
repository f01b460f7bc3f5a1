//! How long data is kept: by itself nothing goes, with a limit what is older goes, but no grade that still waits.

use std::collections::BTreeSet;

use super::*;
use crate::clock::plus_ms;
use crate::retention::purge_old;
use crate::storage::{DeliveryOutcome, Room};

const DAY_MS: i64 = 24 * 60 * 60 * 1000;

async fn deliver_all(school: &School) {
    let now = school.app.clock.now();
    let room = Room { each: 10, except: BTreeSet::new() };
    for grade in school.app.storage.lease_grades(now, plus_ms(now, 1000), &room).await.unwrap() {
        school.app.storage.finish_grade(&grade, &DeliveryOutcome::Delivered, now).await.unwrap();
    }
}

async fn handed_in(privacy: Privacy) -> School {
    let school = School::open_with(TWO_QUESTIONS_TWO_ATTEMPTS, Settings { privacy, ..settings() }).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    school
}

#[actix_web::test]
async fn old_data_goes_once_its_grade_is_in_the_gradebook() {
    let keep = Some("400d".parse().unwrap());
    let school = handed_in(Privacy { keep, ..Privacy::default() }).await;
    school.clock.advance_ms(401 * DAY_MS);
    purge_old(&school.app).await.unwrap();
    assert_eq!(school.attempts("p-07").await.len(), 1, "its grade still waits");
    deliver_all(&school).await;
    school.clock.advance_ms(-2 * DAY_MS);
    purge_old(&school.app).await.unwrap();
    assert_eq!(school.attempts("p-07").await.len(), 1, "it is not old enough");
    school.clock.advance_ms(2 * DAY_MS);
    purge_old(&school.app).await.unwrap();
    assert_eq!(school.attempts("p-07").await.len(), 0);
}

#[actix_web::test]
async fn nothing_goes_by_itself_unless_that_is_set() {
    let school = handed_in(Privacy::default()).await;
    deliver_all(&school).await;
    school.clock.advance_ms(4000 * DAY_MS);
    purge_old(&school.app).await.unwrap();
    assert_eq!(school.attempts("p-07").await.len(), 1);
}
