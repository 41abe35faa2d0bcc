"""What each kind of problem means and what to do about it: the pages that problem documents link to.

Kinds that mean the same to a person share one explanation. Codes are matched as shell patterns, the first wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase


@dataclass(frozen=True)
class Explanation:
    """One explanation, for all the codes that its patterns cover."""

    title: str
    means: str
    remedy: str
    patterns: str

    def covers(self, code: str) -> bool:
        return any(fnmatchcase(code, pattern) for pattern in self.patterns.split())


EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        "The file is not a picture the registry can read",
        "Files are recognised by their content, not by their name. This one is no JPEG, PNG, TIFF, HEIC or raw "
        "file, or it "
        "ends before its picture does, or its content contradicts itself.",
        "Copy it from the card again, or export it as JPEG or TIFF, and send that. The other files are not affected.",
        "not-an-image truncated-image damaged-image unsupported-format not-a-kept-frame",
    ),
    Explanation(
        "The file asks for too much work",
        "A small file can unfold into an enormous picture or keep a decoder busy for minutes. Limits on pixels, "
        "scans, "
        "pages and time protect everyone else’s frames.",
        "Export the frame as an ordinary JPEG or TIFF at its own size and send that.",
        "pixel-flood too-many-scans too-many-pages decoder-gave-up",
    ),
    Explanation(
        "The decoder was busy",
        "Only a few frames are read at once, and all places were taken for too long.",
        "Send it again in a minute.",
        "decoder-busy",
    ),
    Explanation(
        "Too large",
        "Each file format has its own size limit, and one request may hold only so much.",
        "Send frames in several lots. A frame over its format’s limit can be sent as a JPEG of full size.",
        "file-too-large request-too-large body-too-large too-many-files line-too-long too-many-lines",
    ),
    Explanation(
        "The frame can’t be measured",
        "The software only judges plain, evenly lit targets, and says which of its conditions a frame fails, "
        "with the number.",
        "Grade the frame by eye from 0 to 4, or shoot the target again as the number suggests: less or more "
        "exposure, more "
        "even light, further out of focus.",
        "clipped underexposed tilted noisy not-a-plain-target unusable-image could-not-be-measured nothing-measured",
    ),
    Explanation(
        "Your summary and the measurement disagree",
        "What you would say of the lens yourself contradicts what was measured in your frames. Either may be right: a "
        "frame may be mixed up, or a patch too faint for the eye.",
        "Look at the frames that are named. Then correct your summary or the frames, or say that your summary stands.",
        "summary-*",
    ),
    Explanation(
        "Frames are still being measured",
        "A report goes in when its last frame is through.",
        "Wait a moment, or submit it with “once all are measured”; it then goes in by itself.",
        "still-measuring",
    ),
    Explanation(
        "Not an infrared test",
        "The camera and filter named would let visible light through, or it is not said what light reached the "
        "sensor.",
        "Correct the camera’s conversion or name the filter.",
        "not-infrared light-unknown cut-on-*",
    ),
    Explanation(
        "An f-number that no lens shows",
        "What people type must be a full, half or third stop as marked on lenses, or the lens’s own widest "
        "value. Two marks "
        "of one third stop, such as f/3.5 and f/3.6, count as the same.",
        "Pick the nearest marked stop. Values from EXIF are taken as they are.",
        "f-number-not-marked",
    ),
    Explanation(
        "Outside what this lens can do",
        "The value is wider than the lens opens, or a focal length it does not have.",
        "Correct the value, or the lens: perhaps another one was on the camera. Focal lengths are those engraved "
        "on the "
        "lens, not multiplied by a crop factor.",
        "wider-than-* focal-length-outside-the-lens image-circle-*",
    ),
    Explanation(
        "A number out of range",
        "The value is no finite number, or lies outside what can occur. F-numbers run from 0.7 to 64, "
        "wavelengths from 400 "
        "to 1100 nm, grades from 0 to 4.",
        "Check the unit and the decimal sign; the message names the range.",
        "*out-of-range max-value min-value "
        "not-a-number* not-a-whole-number number-* grade-unknown frame-too-small *-not-positive",
    ),
    Explanation(
        "Contradictory facts",
        "Two facts that were given can’t both be true, such as a longest focal length below the shortest.",
        "Correct the one that is wrong; the message quotes both.",
        "*-reversed narrowest-* *-not-beyond-* magnifies-* thread-without-* adapter-* claim-needs-no-stop "
        "cell-disagrees row-says-* copy-of-another-lens label-of-another-copy filter-* "
        "image-of-another-report run-does-not-fit reports-to-join accounts-to-join",
    ),
    Explanation(
        "Something is missing",
        "A value that the registry cannot do without was left empty or not sent.",
        "Fill in the field that is named and send it again.",
        "missing required null blank *-missing *-empty *-needed nothing-* no-*",
    ),
    Explanation(
        "Said twice",
        "The same thing occurs twice where it may stand once.",
        "Keep one of the two.",
        "*-twice",
    ),
    Explanation(
        "Too many, or too long",
        "The list or the text is longer than the registry takes.",
        "Shorten it, or spread it over several requests or reports.",
        "too-many max-length too-many-frames too-many-tokens too-many-rows too-many-replies "
        "too-many-to-compare too-many-watches too-many-reservations too-many-lists text-too-long too-many-flags",
    ),
    Explanation(
        "Too many requests",
        "This account or address has asked too often in a short time.",
        "Wait as long as the Retry-After header says. Whole data sets are better fetched in one streamed request.",
        "too-many-requests drawing-too-often",
    ),
    Explanation(
        "A name the registry does not know",
        "A lens, camera, filter, report, field or parameter of that name is not known here. The message offers "
        "the nearest.",
        "Check the spelling. Gear that is really missing can be added by anyone with an account.",
        "unknown-* *-unknown does-not-exist not-a-choice invalid-choice no-such-* "
        "nothing-measured picture-option named-* embed-size embed-format",
    ),
    Explanation(
        "There is nothing at this address",
        "Nothing is registered under that address, or it is a draft, which only its author sees.",
        "Check the address, or look the lens up by name.",
        "not-found not-embeddable",
    ),
    Explanation(
        "A date that can’t be",
        "The day lies in the future, before photography, or is no date at all.",
        "Write it as year-month-day, such as 2024-05-31.",
        "date-* not-a-date",
    ),
    Explanation(
        "Not in the form expected",
        "The value is of another kind than its field: text for a number, a list for an object, or a web address "
        "without https.",
        "Send it in the form that the message names; the API reference shows every field.",
        "not-text not-a-list* not-an-object not-an-address not-a-plain-text not-yes-or-no not-a-boolean "
        "*-expected not-csv workbook-not-csv cell-without-column not-json not-utf-8 malformed-body malformed-line "
        "not-lens-data no-lens-data-here "
        "file-not-readable bad-request "
        "not-acceptable unsupported-media-type method-not-allowed invalid-input invalid "
        "not-an-email refused-by-database",
    ),
    Explanation(
        "Someone else was first",
        "The thing was changed after you had read it, so that storing your version would have lost theirs.",
        "Read it again and make your change to what it says now. Programs send the ETag they saw as If-Match.",
        "changed-meanwhile merged-meanwhile one-voice-already no-candidate",
    ),
    Explanation(
        "Not possible in this state",
        "A report is a draft, submitted, set aside or withdrawn, and each allows other acts.",
        "Revise a submitted report with a reason; a withdrawn one stays as it is.",
        "wrong-state report-withdrawn fact-already-stated already-* gear-in-use last-steward conflict-closed "
        "not-in-force appeal-not-open blocked-already not-two-of-a-kind",
    ),
    Explanation(
        "A summary of use that can’t be read",
        "The bag reads the small file that the folder command of this software writes from one’s own pictures; this "
        "is another file, or it was changed.",
        "Write it anew with the command that the page names, and send it as it is.",
        "use-summary-*",
    ),
    Explanation(
        "A lens of the other kind",
        "A zoom is compared with lenses of one focal length; here one stands in the other’s place.",
        "Choose a zoom for the one side and primes for the other.",
        "lens-of-another-kind",
    ),
    Explanation(
        "A kit that can’t be planned",
        "The lenses, filters and rings as given allow no plan, or there are more of them than can be "
        "planned at once.",
        "Check the thread sizes and the pieces you already have, or plan for fewer lenses.",
        "kit-* ring-* stacking-*",
    ),
    Explanation(
        "Already taken",
        "The name, address or alias belongs to someone or something else.",
        "Choose another, or use the existing one.",
        "*-taken alias-of-another-lens",
    ),
    Explanation(
        "Not usable as a name or password",
        "Public names must be readable and unmistakable; passwords must not be easy to guess.",
        "Follow the hint in the message.",
        "*-not-usable weak-password wrong-password",
    ),
    Explanation(
        "Not yours to do",
        "The thing belongs to someone else, or the act is a moderator’s or a steward’s.",
        "Sign in with the account it belongs to, or ask a moderator. Nobody decides on their own report.",
        "not-your-* not-allowed moderators-only stewards-only not-a-moderator own-report "
        "account-closed scope-* email-not-confirmed declared-interest own-proposal second-factor-first "
        "account-blocked own-decision moderators-are-not-blocked not-yours not-established",
    ),
    Explanation(
        "Who is asking?",
        "This needs an account, and no sign-in or valid token came with the request.",
        "Sign in, or send a token of yours as “Authorization: Token …”.",
        "not-signed-in not-recognised",
    ),
    Explanation(
        "The form had expired",
        "Every form carries a mark that protects you against forged requests; it no longer matched.",
        "Reload the page and send it again, with cookies allowed.",
        "form-expired",
    ),
    Explanation(
        "A repeat key that can’t be used",
        "An Idempotency-Key stands for one request. Sent again with another content, it would be ambiguous.",
        "Make a new key for a new request, up to 200 plain characters.",
        "idempotency-key-* line-key-*",
    ),
    Explanation(
        "The event log does not fit together",
        "Each event carries the hash of the one before it; somewhere this chain is broken.",
        "Stewards: compare with the last backup before anything else is written.",
        "event-*",
    ),
    Explanation(
        "A release that can’t be made or proven",
        "A release is frozen for ever, and its standings must follow from its own evidence to the last digit. "
        "Something here stands against that: its version is taken, the standings are behind the evidence, or the "
        "folder holds another method’s release or none.",
        "The message names the command that helps; nothing was left half made.",
        "release-* not-a-release standings-*",
    ),
    Explanation(
        "A folder that was not sent",
        "The folder command sends nothing without being told, and sends nothing twice. It was not told, or the "
        "registry it should send to did not answer as one.",
        "Check the address and your connection, say yes to what would be sent, and run it again: it goes on where it "
        "stopped.",
        "not-agreed server-*",
    ),
    Explanation(
        "Something broke on our side",
        "An error of the registry’s own. It has been logged.",
        "What was stored is safe. Try again in a minute.",
        "internal",
    ),
)


def explanation_of(code: str) -> Explanation | None:
    """The explanation of a problem's code; None for a code that no room uses."""
    return next((known for known in EXPLANATIONS if known.covers(code)), None)
