//! People and what they are where.

use fillmark_domain::people as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Body, Code, Instant, Patch, Stored};

/// A role by its code.
pub type Role = Code<words::Role>;
/// A person as kept.
pub type Person = Stored<NewPerson>;
/// A change of a person.
pub type PersonPatch = Patch<NewPerson>;
/// A membership as kept.
pub type Membership = Stored<NewMembership>;
/// A change of a membership.
pub type MembershipPatch = Patch<NewMembership>;

/// Somebody who works with the business.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Ada Brook", "sign_in": "ada"}))]
pub struct NewPerson {
    /// As colleagues call them; unique in the business.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What they sign in with; none for people who have no account.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub sign_in: Option<String>,
}

impl Body for NewPerson {
    type Word = words::Person;

    fn word(&self) -> Result<words::Person, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        if let Some(sign_in) = &self.sign_in {
            faults.text("/sign_in", sign_in, 120);
        }
        let sign_in = self.sign_in.as_ref().map(|name| name.trim().to_lowercase());
        faults.or(Some(words::Person { name: self.name.trim().to_owned(), sign_in }))
    }

    fn of(word: &words::Person) -> Self {
        Self { name: word.name.clone(), sign_in: word.sign_in.clone() }
    }
}

/// What a person is at a site, or at every site, for a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "019a0000-0000-7000-8000-000000000001", "site_id": null, "role": "staff",
    "from_at": "2026-11-24T06:30:00.000Z", "until_at": null}))]
pub struct NewMembership {
    /// Who.
    pub person_id: Uuid,
    /// Where; null means every site, those to come included.
    #[serde(default)]
    pub site_id: Option<Uuid>,
    /// As what.
    pub role: Role,
    /// From when.
    pub from_at: Instant,
    /// Until when, exclusive; null while it is open.
    #[serde(default)]
    pub until_at: Option<Instant>,
}

impl Body for NewMembership {
    type Word = words::Membership;

    fn word(&self) -> Result<words::Membership, Faults> {
        Ok(words::Membership {
            person: Id::new(self.person_id),
            site: self.site_id.map(Id::new),
            role: self.role.0,
            from: self.from_at.0,
            until: self.until_at.map(|until| until.0),
        })
    }

    fn of(word: &words::Membership) -> Self {
        Self {
            person_id: word.person.uuid(),
            site_id: word.site.map(Id::uuid),
            role: Code(word.role),
            from_at: word.from.into(),
            until_at: word.until.map(Instant),
        }
    }
}

/// A device as kept.
pub type Device = Stored<NewDevice>;
/// A change of a device.
pub type DevicePatch = Patch<NewDevice>;

/// Something that sends readings of one site by itself, for a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Quay probe", "until_at": "2027-11-24T00:00:00.000Z"}))]
pub struct NewDevice {
    /// Unique at its site among what is not archived.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Until when, exclusive, what it sends is taken.
    pub until_at: Instant,
}

impl Body for NewDevice {
    type Word = words::Device;

    fn word(&self) -> Result<words::Device, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.or(Some(words::Device { name: self.name.trim().to_owned(), until: self.until_at.0 }))
    }

    fn of(word: &words::Device) -> Self {
        Self { name: word.name.clone(), until_at: word.until.into() }
    }
}

/// A device's new token.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"token": "fmd_1f0c…", "until_at": "2027-11-24T00:00:00.000Z"}))]
pub struct DeviceToken {
    /// Sent as `Authorization: Bearer …`; told only this once.
    #[schema(max_length = 200)]
    pub token: String,
    /// Until when it is good.
    pub until_at: Instant,
}

/// What is known of a device's token.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"given_at": "2026-11-24T06:30:00.000Z", "used_at": "2026-11-24T09:10:00.000Z"}))]
pub struct GivenToken {
    /// When it was given.
    pub given_at: Instant,
    /// When it was used last, to the minute; null when never.
    pub used_at: Option<Instant>,
}

/// Claims a business that nobody can sign in to yet.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "5f0c…", "name": "Ada Brook", "sign_in": "ada", "password": "correct horse battery"}))]
pub struct NewFirstOwner {
    /// The one-time code that the server printed when it started.
    #[schema(min_length = 1, max_length = 200)]
    pub code: String,
    /// As colleagues call them.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What they sign in with.
    #[schema(min_length = 1, max_length = 120)]
    pub sign_in: String,
    /// At least 15 characters; any characters, nothing is cut off.
    #[schema(min_length = 15, max_length = 256)]
    pub password: String,
}

impl NewFirstOwner {
    /// The person they will be.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn person(&self) -> Result<words::Person, Faults> {
        NewPerson { name: self.name.clone(), sign_in: Some(self.sign_in.clone()) }.word()
    }
}
