"""What the page for a telephone says, and the form of the same questions for other programs."""

from __future__ import annotations

ACTIONS = ("topped up", "refilled", "moved")
# what the page's script says, by its own names; {n} and the like are filled there
WORDS = {
    "progress": "{n} of {all} pools visited",
    "save": "Save as a file",
    "save_n": "Save as a file ({n} new)",
    "saved": "Saved: {file}. Send this file to whoever keeps the list.",
    "sent": "Sent.",
    "not_sent": "Not sent. Save as a file instead.",
    "nothing": "There is no visit with an outcome yet.",
    "kept": "Kept on this telephone.",
    "not_kept": "Not kept: save as a file now.",
    "no_outcome": "{day}: no outcome yet",
    "place": "Open {lat}, {lon} in a map",
    "position": "Position {lat}, {lon}, to {m} m.",
    "no_position": "The telephone gives no position.",
    "asking": "Asking the telephone for its position ...",
    "remove": "Remove this visit",
    "sure": "Remove it for good? Touch once more.",
}
# what stands on the page itself
LABELS = {
    "refused": "This browser keeps nothing of what you type. Save as a file before you close the page, or open it in "
    "another browser.",
    "no_script": "This page needs JavaScript, which is switched off here. Write on the recording sheet instead.",
    "way": "The way",
    "cautions": "Before you go",
    "outcome": "What was there?",
    "larvae": "How many larvae? Blank where nobody counted.",
    "less": "One less",
    "more": "One more",
    "action": "What did you do?",
    "note": "Note",
    "photo": "Name of the photo",
    "camera": "Take the name of a photo on this telephone",
    "photo_help": "Only the name is kept; send the photo along.",
    "date": "Day of the visit",
    "where": "Where you stand",
    "locate": "Ask for my position",
    "forget": "Leave the position out",
    "again": "One more visit here",
    "others": "Other visits here",
    "back": "Done",
    "send": "Send",
    "text": "Show as text",
    "copy": "The file as text, to copy",
    "private": "For you alone: exact places and hosts. Delete the page when the round is over.",
}
# what the form says besides
FORM = {
    "which": "Which pool?",
    "observer": "Your name",
    "whole": "A whole number of 1 or more; leave it blank where nobody counted.",
    "take_photo": "A photo, if you like",
    "search": "Larvae and none seen are searches; the others are not. Leave nothing to be guessed.",
}
