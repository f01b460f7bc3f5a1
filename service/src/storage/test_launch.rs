//! What a store learns from launches alone, for tests: each function opens one, as the service does.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;

use super::{
    Fingerprint, LinkOpening, LoginState, Member, MemberStatus, NewPlacement, Opened, Opening, Opens, Part,
    Placement, PlacingRequest, RegistrationId, SessionPurpose, SessionRecord, SessionTicket, Storage,
};
use crate::clock::plus_ms;
use crate::entropy;

/// Has a teacher named `teacher` follow the quiz's link when the quiz was made; returns the placement.
pub(crate) async fn place(store: &dyn Storage, quiz: NewPlacement) -> Placement {
    let key = quiz.link.clone();
    let member = Member {
        user: "teacher".into(),
        part: Part::Teacher,
        status: MemberStatus::Active,
        name: None,
        seen_at: quiz.created_at,
    };
    let link = LinkOpening {
        link: key.clone(),
        quiz: Arc::new(move |_| Some(quiz.clone())),
        windows: BTreeMap::new(),
        member,
        roster: None,
    };
    follow(store, link).await;
    store.placement_of(&key).await.unwrap().unwrap()
}

/// A person who follows the link of a quiz that is known.
pub(crate) fn link_to(placement: &Placement, member: Member) -> LinkOpening {
    LinkOpening {
        link: placement.quiz.link.clone(),
        quiz: Arc::new(|known| known),
        windows: BTreeMap::new(),
        member,
        roster: None,
    }
}

/// Has a person follow a link; their session lives for a second after they were seen.
pub(crate) async fn follow(store: &dyn Storage, link: LinkOpening) {
    let (key, member) = (link.link.clone(), link.member.clone());
    let id = Fingerprint::of(&entropy::secret());
    let session = move |purpose| SessionRecord {
        id: id.clone(),
        registration: key.registration,
        deployment: key.deployment.clone(),
        user: Some(member.user.clone()),
        purpose,
        csrf: "csrf".to_owned(),
        return_origin: None,
        expires_at: plus_ms(member.seen_at, 1_000),
    };
    open(store, link.link.registration, Opens::Link(Box::new(link)), Arc::new(session), None).await;
}

/// Opens exactly this session, with a ticket that hands it over if there is one.
pub(crate) async fn open_session(store: &dyn Storage, session: SessionRecord, ticket: Option<SessionTicket>) {
    // Opening the page of placing writes nothing but the session.
    let request = PlacingRequest {
        return_url: "https://platform.example.org/return".parse().unwrap(),
        accept_types: Vec::new(),
        accept_multiple: false,
        accept_line_item: None,
        data: None,
        title: None,
        context: None,
    };
    let registration = session.registration;
    open(store, registration, Opens::Placing(request), Arc::new(move |_| session.clone()), ticket).await;
}

async fn open(
    store: &dyn Storage,
    registration: RegistrationId,
    opens: Opens,
    session: Arc<dyn Fn(SessionPurpose) -> SessionRecord + Send + Sync>,
    ticket: Option<SessionTicket>,
) {
    let now = Timestamp::UNIX_EPOCH;
    let login = Fingerprint::of(&entropy::secret());
    let started = LoginState {
        state: login.clone(),
        nonce: entropy::secret(),
        registration,
        target_link_uri: "https://tool.example.org/".to_owned(),
        deployment_hint: None,
        browser: Fingerprint::of("browser"),
        storage: None,
        expires_at: plus_ms(now, 1_000),
    };
    store.add_login_state(started).await.unwrap();
    let opened = store.open_launch(Opening { login, now, opens, session, ticket }).await.unwrap();
    assert!(matches!(opened, Opened::Session(_)), "{opened:?}");
}
