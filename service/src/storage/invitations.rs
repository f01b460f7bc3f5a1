//! Records of invitations to register a platform, and of deployments that wait for approval.

use jiff::Timestamp;

use super::{DeploymentId, Fingerprint, RegistrationId};

/// An invitation: whoever has its secret may register one platform.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invitation {
    /// Its name on lists; tells nothing of the secret.
    pub id: String,
    /// Fingerprint of the secret.
    pub secret: Fingerprint,
    /// Whom it is for, in the words of who made it.
    pub note: String,
    /// When it was made.
    pub created_at: Timestamp,
    /// When it ends.
    pub expires_at: Timestamp,
    /// When it was taken back, if it was.
    pub revoked_at: Option<Timestamp>,
    /// When a platform was registered with it, if one was.
    pub used_at: Option<Timestamp>,
    /// That platform.
    pub registration: Option<RegistrationId>,
}

/// Whether an invitation can be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum InvitationState {
    /// It can.
    Open(Invitation),
    /// Somebody is registering with it just now.
    Held,
    /// A platform was registered with it.
    Used,
    /// It was taken back.
    Revoked,
    /// It has ended.
    Expired,
    /// There is no such invitation.
    Unknown,
}

/// What became of a registration by invitation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Registered {
    /// It is stored, and the invitation is used up.
    Stored(RegistrationId),
    /// Nothing was stored: the invitation has been used, taken back or has ended meanwhile.
    NotInvited,
    /// Nothing was stored: issuer and client id are registered already.
    Known,
}

/// A deployment that launched us and is not registered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PendingDeployment {
    /// The platform.
    pub registration: RegistrationId,
    /// The deployment.
    pub deployment: DeploymentId,
    /// When it launched first.
    pub first_seen_at: Timestamp,
    /// When it launched last.
    pub last_seen_at: Timestamp,
}
