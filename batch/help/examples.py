"""Examples on help pages: three a command, each a line to copy and what it is for. Tests parse every line."""

from __future__ import annotations

__all__ = ["EXAMPLES", "Example"]

Example = tuple[str, str]

EXAMPLES: dict[str, tuple[Example, Example, Example]] = {
    "": (
        ("rushlight day new /media/cards --to day.toml", "Begin a shooting day from its cards:"),
        ("rushlight plan day.toml", "See what would be made, and what is wrong:"),
        ("rushlight render day.toml", "Make it; the same command goes on where it stopped:"),
    ),
    "render": (
        ("rushlight render clips.csv --media cards --grades grades --out out", "A list, to proxies and stills:"),
        ("rushlight render day.toml --only circled=yes --ready-by 05:30", "The circled takes of a day, by half past five:"),
        ("rushlight render --from out --media /mnt/archive --out again", "The same again, months later, into a new folder:"),
    ),
    "plan": (
        ("rushlight plan clips.csv --media cards --grades grades", "What would be made of a list, and why:"),
        ("rushlight plan day.toml --workers 8 --ready-by 05:30", "What eight workers have ready by half past five:"),
        ("rushlight plan cards --write clips.csv", "A list to go on with, of a folder of originals:"),
    ),
    "look": (
        ("rushlight look clips.csv A001C003", "One clip's look in numbers, layer by layer:"),
        ("rushlight look day.toml A001C003 --picture look.png --compare new.cdl", "On a frame of it, beside another grade:"),
        ("rushlight look day.toml A001C003 --export look.cube --size 65", "The whole look as a 3D LUT for a monitor:"),
    ),
    "grades": (
        ("rushlight grades clips.csv --grades set --to for-post", "The grades of a list, as files for others:"),
        ("rushlight grades day.toml --only scene=12 --to scene-12", "Those of one scene:"),
        ("rushlight grades day.toml --to for-post --json", "The same, for a script:"),
    ),
    "recipes": (
        ("rushlight recipes --new ours.toml --viewing h264 --watermark 'FOR REVIEW'", "One of your own, begun from answers:"),
        ("rushlight recipes --check ours.toml --to trial", "What it draws, on a chart:"),
        ("rushlight recipes --test-clip overnight --to test-clips", "Clips of known values, for who says that colours are wrong:"),
    ),
    "encodings": (
        ("rushlight encodings", "Names to write in a list's column `encoding`:"),
        ("rushlight encodings | grep LogC", "Those of one family:"),
        ("rushlight encodings --json", "All figures, for a script:"),
    ),
    "schema": (
        ("rushlight schema", "What has a schema:"),
        ("rushlight schema rushlight-job-1", "The job record's:"),
        ("rushlight schema rushlight-event-1 > event.schema.json", "That of events, in a file:"),
    ),
    "verify": (
        ("rushlight verify out", "Measure everything that was delivered:"),
        ("rushlight verify out --no-hash --workers 4", "Pictures, timecode and tags alone, on four cores:"),
        ("rushlight verify out --against other", "Hold the colour against another render of the list:"),
    ),
    "check": (
        ("rushlight check /media/A001", "A card against the manifests that lie in it:"),
        ("rushlight check /media/A001 --manifest A001.mhl", "Against one that lies elsewhere:"),
        ("rushlight check day.toml --json", "All originals of a day, for a script:"),
    ),
    "handover": (
        ("rushlight handover out --name editor --to /media/shuttle", "All that is delivered, for the editor:"),
        ("rushlight handover out --name producer --outputs viewing", "The viewing copies, for the producer:"),
        ("rushlight handover out --name editor --all --copy", "Everything once more, copied, not only changes:"),
    ),
    "space": (
        ("rushlight space out", "What a folder holds, and what may go; nothing is changed:"),
        ("rushlight space /show/*/out --keep-revisions 1 --older-than 30", "A whole show, by a policy of your own:"),
        ("rushlight space day.toml --remove", "Clear what the same command without --remove shows:"),
    ),
    "report": (
        ("rushlight report out", "The pages, made again:"),
        ("rushlight report day.toml", "Those of a day:"),
        ("rushlight report out --json", "Where they are, for a script:"),
    ),
    "serve": (
        ("rushlight serve out", "To this machine's own browser:"),
        ("rushlight serve day.toml --lan", "To a phone on the same network:"),
        (
            "rushlight serve day.toml --lan --tls-cert cart.pem --tls-key cart.key",
            "The same, encrypted:",
        ),
    ),
    "help": (
        ("rushlight help", "All topics:"),
        ("rushlight help recipes", "Every setting of a recipe:"),
        ("rushlight help lists | less", "A long page, to leaf through:"),
    ),
    "doctor": (
        ("rushlight doctor", "Is this machine ready, and how fast is it?"),
        ("rushlight doctor out /media/cards", "Its disks too, where work will lie:"),
        ("rushlight doctor --recipe overnight --json", "One recipe's speed, for a script:"),
    ),
    "completion": (
        ('eval "$(rushlight completion bash)"', "In ~/.bashrc:"),
        ('eval "$(rushlight completion zsh)"', "In ~/.zshrc, after compinit:"),
        ("rushlight completion fish | source", "In ~/.config/fish/config.fish:"),
    ),
    "queue": (
        ("rushlight queue add clips.csv --media cards --out out", "Through the day, list by list:"),
        ("rushlight queue list", "What waits, and in which order:"),
        ("rushlight queue run --until 05:00", "At wrap:"),
    ),
    "queue add": (
        ("rushlight queue add clips.csv --media cards --out out", "A list:"),
        ("rushlight queue add a.csv b.csv --media cards --out out", "Several into one folder:"),
        ("rushlight queue add day.toml --priority 10", "A day that comes before what waits already:"),
    ),
    "queue run": (
        ("rushlight queue run", "All that is queued:"),
        ("rushlight queue run --stay", "And what is added later, until Ctrl-C:"),
        ("rushlight queue run --until 05:00 --ready-by 06:00", "Start nothing after five; be told if six is too soon:"),
    ),
    "queue list": (
        ("rushlight queue list", "The jobs in the order in which they will run:"),
        ("rushlight queue list --json", "The same, for a script:"),
        ("rushlight queue list --queue /mnt/cart/queue.db", "Those of another queue's file:"),
    ),
    "queue hold": (
        ("rushlight queue hold A001C003", "One clip:"),
        ("rushlight queue hold A001C003 A001C004", "Several:"),
        ("rushlight queue hold --all", "Everything that has not been started:"),
    ),
    "queue release": (
        ("rushlight queue release A001C003", "One clip:"),
        ("rushlight queue release A001C003 A001C004", "Several:"),
        ("rushlight queue release --all", "Everything that is held:"),
    ),
    "queue retry": (
        ("rushlight queue retry A001C003", "One clip, once its card is back:"),
        ("rushlight queue retry --all", "All that failed or was set aside:"),
        ("rushlight queue retry --all --queue /mnt/cart/queue.db", "Those of another queue's file:"),
    ),
    "queue drop": (
        ("rushlight queue drop A001C003", "One clip:"),
        ("rushlight queue drop A001C003 A001C004", "Several:"),
        ("rushlight queue drop --all", "All; what was delivered stays:"),
    ),
    "day": (
        ("rushlight day new /media/cards --to day.toml", "Begin one:"),
        ("rushlight day run day.toml", "Take cards in as they come, and render them:"),
        ("rushlight day tell day.toml --test", "Try its mail and webhook:"),
    ),
    "day new": (
        ("rushlight day new /media/cards --to day.toml", "From a folder of cards:"),
        ("rushlight day new /media/A001 --to day.toml", "From one card:"),
        ("rushlight day new /media/cards --to day.toml --json", "With what was found, for a script:"),
    ),
    "day run": (
        ("rushlight day run day.toml", "Until Ctrl-C; the same command goes on:"),
        ("rushlight day run day.toml --hold", "Take cards in, and wait for `rushlight day release`:"),
        ("rushlight day run day.toml --still 300 --until 05:00", "For cards on a slow share; start nothing after five:"),
    ),
    "day release": (
        ("rushlight day release day.toml", "At wrap:"),
        ("rushlight day release /mnt/cart/day.toml", "Of a day elsewhere:"),
        ("rushlight day release day.toml --queue /mnt/cart/queue.db", "In another queue's file:"),
    ),
    "day tell": (
        ("rushlight day tell day.toml", "Who is told:"),
        ("rushlight day tell day.toml --test", "Send each a test:"),
        ("rushlight day tell day.toml --test --json", "The answers, for a script:"),
    ),
}  # fmt: skip
