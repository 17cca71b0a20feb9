# Every word the window shows. To translate it, copy this file, keep the names before the equals signs,
# translate what follows them, and put the copy, named by its language such as de.ftl, into the folder 'locales'
# beside the window's settings; it is then offered under Settings.
# The format is Fluent (projectfluent.org): { $name } stands for a value; $n is a number, on which a
# language may choose between forms as in the first messages.

## figures

words-about = about { $span }
words-seconds = { $secs } s
words-minutes = { $minutes } min { $secs } s
words-whole-minutes = { $minutes } min
words-megabytes = { $figure } MB
words-kilobytes = { $figure } kB
words-hours = { $hours } h { $minutes } min
count-stops-are = { $n ->
    [one] 1 stop is
   *[other] { $n } stops are
}
count-lines-are-wrong = { $n ->
    [one] 1 line is wrong
   *[other] { $n } lines are wrong
}
count-stops = { $n ->
    [one] 1 stop
   *[other] { $n } stops
}
count-products = { $n ->
    [one] 1 product
   *[other] { $n } products
}
count-stops-will-be = { $n ->
    [one] 1 stop will be
   *[other] { $n } stops will be
}
count-frames-are = { $n ->
    [one] 1 frame is
   *[other] { $n } frames are
}
count-stops-skipped = { $n ->
    [one] 1 stop skipped
   *[other] { $n } stops skipped
}
count-versions = { $n ->
    [one] 1 version
   *[other] { $n } versions
}
count-products-left = { $n ->
    [one] 1 product left
   *[other] { $n } products left
}


words-anticlockwise = anticlockwise
words-clockwise = clockwise
words-out-of-focus = out of focus
words-motion-blur = motion blur
words-exposure-off = exposure off
words-white-balance-off = white balance off
words-clipped = clipped
words-duplicate = duplicate
words-wrong-angle = wrong angle
words-object-slipped = object slipped
words-background-uneven = background uneven
words-damaged = damaged
words-size-differs = size differs
words-tell = tell
words-pause = pause
words-retake = retake
words-to-be-shot = to be shot
words-turning = turning
words-settling = settling
words-exposing = exposing
words-receiving = receiving
words-writing = writing

## ask

ask-this-system-shows-no-file = This system shows no file dialogs (on Linux they come from the desktop's portal service). Type the path instead.
ask-path = Path
ask-open = Open
ask-save = Save
ask-use = Use it
ask-cancel = Cancel
ask-open-a-plan = Open a plan
ask-plan = Plan
ask-choose-the-boards-drive-or = Choose the board's drive or a folder
ask-open-a-shoot-list = Open a shoot list
ask-list = List
ask-profile = Profile
ask-save-the-plan = Save the plan
ask-choose-the-session-folder = Choose the session folder
ask-choose-the-folder-the-cameras = Choose the folder the camera's frames arrive in
ask-no-dialog-can-be-shown = No dialog can be shown: { $error }; type the path instead.

## attention

attention-a-set-is-being-shot = a set is being shot

## board

board-write-four-pin-numbers-for = write four pin numbers for IN1 to IN4, such as 18, 19, 21, 22
board-write-three-pin-numbers-for = write three pin numbers for STEP, DIR and ENABLE, such as 18, 19, 21
board-full-press = full press
board-half-press = half press
board-switch = switch
board-index-sensor = index sensor
board-is-no-pin-for-the = '{ $text }' is no pin for the { $what }; write a number, or nothing
board-set-up-a-controller-board = Set up a controller board
board-save-to-the-boards-drive = Save to the board's drive or a folder…
board-close = Close
board-four-coils-on-a-darlington = Four coils on a Darlington driver
board-step-and-direction-driver = Step and direction driver
board-none = none
board-pins-for-in1-in2-in3 = Pins for IN1, IN2, IN3, IN4
board-pins-for-step-dir-enable = Pins for STEP, DIR, ENABLE
board-steps-in-one-turn-of = Steps in one turn of the plate
board-pin-for-the-shutters-full = Pin for the shutter's full press
board-pin-for-the-half-press = Pin for the half press
board-pin-for-a-switch-that = Pin for a switch that lets it turn alone
board-pin-for-an-index-sensor = Pin for an index sensor
board-reverse = Reverse the motor: the plate turned clockwise instead of anticlockwise
board-details = Details: gear, pins, wiring and commands
board-wiring = Wiring
board-from-bare-board-to-first = From bare board to first turn

## desk

desk-the-windows-worker-cannot-be = the window's worker cannot be started: { $error }; close some programs and try again
desk-the-windows-settings-cannot-be = The window's settings cannot be remembered: { $reason }
desk-plan-file-is-there = { $path } is there already, and nothing is replaced unasked: save the plan under another name.
desk-folder-not-shown = No file manager shows { $folder }. Open it there by its path.
desk-folder-not-there = There is no folder { $folder } any more.
desk-the-devices-are-not-open = the devices are not open
desk-what-lay-there-before-is = {" "}What lay there before is kept with the ending .old.
desk-the-controllers-files-lie-in = The controller's files lie in { $folder }.{ $kept } Copy them to the board if it has no drive of its own, then reset it.
desk-is-complete-but-the-shoot = { $sku } is complete, but the shoot list cannot be marked: { $error }
desk-cannot-be-read-choose-another = { $path } cannot be read: { $error }; choose another plan file
desk-the-serial-ports-cannot-be = the serial ports cannot be listed: { $error }; type the port's path instead

## devices

devices-no-serial-port-is-chosen = no serial port is chosen for the table; pick one under 'Table', or type its path
devices-the-simulated-camera-sees-only = the simulated camera sees only the simulated table; choose another camera under 'Camera'
devices-no-folder-is-chosen-for = no folder is chosen for the camera's frames; pick one under 'Camera'
devices-no-command-is-given-for = no command is given for the camera; write one under 'Camera', such as shoot {"{"}file{"}"}
devices-no-address-is-given-for = no address is given for the camera; write one under 'Camera', such as //192.0.2.7/still.jpg
devices-simulated-table = simulated table
devices-no-port-chosen = no port chosen
devices-serial = serial { $port }
devices-simulated-camera = simulated camera
devices-no-folder-chosen = no folder chosen
devices-folder = folder { $folder }
devices-command = command
devices-cable = cable { $detail }
devices-web-address = web address

## draft

draft-is-not-a-whole-number = '{ $text }' is not a whole number of stops; write 1 to { $MAX_STOPS_PER_ROW }
draft-is-not-a-number-of = '{ $text }' is not a number of seconds; write it like 0.8 or 1/4
draft-is-no-stop-number-write = '{ $part }' is no stop number; write numbers and runs such as 3, 7-9

## handle

handle-called-off-nothing-turns-the = Called off: nothing turns. The devices are still being connected.
handle-the-windows-worker-is-still = The window's worker is still busy; wait a moment and try again.
handle-a-new-set-type-its = A new set: type its SKU, its folder is named by it. Then press Start.
handle-product-is-open = { $product } is open. Ctrl Enter shoots it.
handle-the-set-is-shot = { $sku }: the set is shot.
handle-set-the-camera-for-the = { $sku }: set the camera for the next row.
handle-the-plate-stands-at = {" "}The plate stands at { $deg }°.
handle-stopped-every-frame-shot-so = Stopped; every frame shot so far is kept.{ $at } { $missing } still missing.
handle-stopped-with-retakes-left = Stopped; every frame shot so far is kept.{ $at } { $n ->
    [one] 1 stop waits
   *[other] { $n } stops wait
} to be shot again: go on, or call it off.
handle-shot-but-skipped = All is shot but { $n ->
    [one] the stop that was skipped: shoot it, or set it right in the plan.
   *[other] the { $n } stops that were skipped: shoot them, or set them right in the plan.
}
handle-complete-not-checked = Every stop has its frame. The check was stopped: look at the last frames yourself.
handle-the-set-is-complete-its = The set is complete. Its frames lie in { $frames }.
handle-stop = Stop { $stop }: { $reason }
handle-a-plan-can-be-opened = A plan can be opened once the session is stopped.
handle-stop-is-shot-again = Stop { $stop }: { $what }. It is shot again.
handle-closing = Closing frame: { $reason }
handle-closing-is-shot-again = Closing frame: { $what }. It is shot again.
handle-see-to-the-flagged-stop = { $sku }: look at stop { $stop }, its frame is doubtful.
handle-the-plan-is-saved-as = The plan is saved as { $path }.

## caption

caption-selected = { $n ->
    [one] Stop { $list } is selected
   *[other] { $n } stops are selected: { $list }
}
caption-picture-is-of = the picture is of stop { $index }, which is not
caption-picture-is-of-closing = the picture is of the closing frame, which is not
caption-closing-selected = The closing frame is selected
caption-row = , row { $row }
caption-stop = Stop { $index }{ $row }, { $degrees_text }°
caption-point-at-a-stop-on = Point at a stop on the ring, or at a picture in the strip.
caption-use-version-of-stop = Use version { $version } of stop { $index }
caption-retake = Retake
caption-shoot-stop = Shoot stop { $index }
caption-retake-title = Shoot the selected stops again?
caption-retake-ask = The table turns to each of them. Earlier versions stay; nothing is overwritten.
caption-retake-stop = Retake stop { $index }
caption-retake-stops = Retake { $several } stops
caption-shoot-closing = Shoot the closing frame
caption-retake-closing = Retake the closing frame
caption-r-earlier-versions-stay-nothing = R. Earlier versions stay; nothing is overwritten.
caption-use-it-again = Use it again
caption-set-aside = Set aside
caption-the-frame-stays-on-disk = The frame stays on disk but is not used; the stop counts as missing.
caption-skip-for-now = Skip for now
caption-not-shot-in-this-run = Not shot in this run; it counts as missing afterwards. To leave it out for good, name it in the plan.
caption-for-stops-that-a-running = For stops that a running session has still to shoot.
caption-show-the-newest = Show the newest
caption-select-none = Select none

## controls

controls-connecting = Connecting…
controls-call-off = Call off
controls-ending-the-session = Ending the session…
controls-pause-after-this-frame = Pause after this frame
controls-stop-at-once = Stop at once (Esc)
controls-shoot-skipped = { $n ->
    [one] Shoot the skipped stop
   *[other] Shoot the { $n } skipped stops
}
controls-pause-in-short = Pause
controls-stop-in-short = Stop (Esc)
controls-pausing-keep-going = Pausing… keep going
controls-the-present-stop-is-finished = The present stop is finished first. Click to go on without a pause.
controls-checking = Checking the frames…
controls-go-on = Go on
controls-camera-is-set-go-on = Camera is set, go on
controls-stop = Stop (Esc)
controls-stopping-do-not-wait-for = Stopping… do not wait for the frame
controls-a-frame-already-exposed-is = A frame already exposed is still let in. Click to end that wait too.
controls-waiting-for-you-see-the = Waiting for you: see the message
controls-retakes-left = Go on: { $stops }
controls-call-off-retakes = Call it off
controls-call-off-retakes-tip = The stops that were to be shot again keep the frames they have
controls-nothing-left-to-shoot = Nothing left to shoot
controls-start-shoot = Start: shoot { $missing }
controls-shoot-the-missing-stop = Shoot the missing stop
controls-shoot-the-missing-stops = Shoot the { $missing } missing stops
controls-every-stop-has-its-frame = Every stop has its frame. Select stops to retake them.
controls-esc-at-any-time-the = Esc, at any time. The table halts; a frame already exposed is kept.

## device-menus

device-menus-simulated-table = Simulated table
device-menus-controller-on-a-serial-port = Controller on a serial port
device-menus-serial-port = Serial port
device-menus-port-as-the-system-names = Port, as the system names it
device-menus-dev-ttyacm0-or-com3 = /dev/ttyACM0 or COM3
device-menus-opening-a-port-may-restart = Opening a port may restart the controller: keep hands off.
device-menus-set-up-a-controller-board = Set up a controller board…
device-menus-looking-for-serial-ports = Looking for serial ports…
device-menus-no-serial-port-found-plug = No serial port found. Plug the table in and look again.
device-menus-port = Port { $name }, { $about }
device-menus-usb = USB { $ids }
device-menus-serial-number = serial number { $serial }
device-menus-bluetooth = Bluetooth
device-menus-built-in = built in
device-menus-nothing-known = nothing is known of it
device-menus-look-for-ports = Look for ports
device-menus-simulated-camera = Simulated camera
device-menus-on-a-cable-or-the = On a cable or the network
device-menus-frames-arrive-in-a-folder = Frames arrive in a folder
device-menus-stills-from-a-web-address = Stills from a web address
device-menus-a-program-makes-each-frame = A program makes each frame
device-menus-camera-detail = Camera detail
device-menus-it-sees-the-simulated-table = It sees the simulated table only.
device-menus-folder-that-the-cameras-own = Folder that the camera's own program saves to
device-menus-its-path = its path
device-menus-command-file-is-where-the = Command; {"{"}file{"}"} is where the frame must go
device-menus-program-file-degrees = program {"{"}file{"}"} {"{"}degrees{"}"}
device-menus-port-when-there-are-several = Port, when there are several
device-menus-empty-for-the-only-camera = empty for the only camera
device-menus-address-of-the-still-after = Address of the still, after http: or https:
device-menus-choose-the-camera-folder = Choose the camera folder…
device-menus-connected = Connected.
device-menus-disconnect = Disconnect
device-menus-in-use-it-can-be = In use; it can be changed when the session is stopped.
device-menus-it-is-connected-when-shooting = It is connected when shooting starts.
device-menus-frames-their-record-and-the = Frames, their record and the plan go to one folder for each product.
device-menus-session-folder-path = Session folder path
device-menus-use-this-folder = Use this folder
device-menus-new-set = New set
device-menus-another-product-in-a-folder = Another product, in a folder named by its SKU
device-menus-choose-folder = Choose folder…
device-menus-show-folder = Show in the file manager
device-menus-show-folder-tip = Opens the set's folder with its frames in the system's file manager
device-menus-no-folder-yet = There is no set in this folder yet
device-menus-a-folder-that-holds-a = A folder that holds a set shows its frames, and shooting goes on there.

## help

help-esc = Esc
help-stop-at-once-whatever-has = stop at once, whatever has the focus
help-arrows = Arrows
help-look-at-the-next-or = look at the next or previous stop; up and down change the row
help-home-end = Home, End
help-first-and-last-stop = first and last stop
help-space = Space
help-select-the-stop-or-no = select the stop, or no longer; its place must have the focus
help-retake-the-selected-stops-or = retake the selected stops, or the one looked at
help-picture-at-1-1-whole = picture at 1:1, whole, magnifier; facts of the frame
help-drag = Drag
help-across-the-picture-turns-the = across the picture turns the object; at 1:1 it moves the picture
help-click = Click
help-select-one-with-ctrl-one = select one; with Ctrl one more, with Shift a run
help-shift-arrows = Shift arrows
help-select-a-run = select a run of stops from the one looked at
help-draw = Draw
help-along-the-ring = along the ring selects the stops passed; with Shift, more of them
help-ctrl-a = Ctrl A
help-select-every-stop = select every stop
help-ctrl-z = Ctrl Z
help-undo-the-last-change-of = undo the last change of the plan; with Shift, redo it
help-ctrl-enter = Ctrl Enter
help-start-shoot-the-missing-stops = start: shoot the missing stops
help-the-next-product-of-the = the next product of the shoot list
help-ctrl-q = Ctrl Q
help-close-the-window = close the window; a set that is being shot stops, its frames are kept
help-tab = Tab
help-go-on-to-the-next = go on to the next field or button
help-turning-parts = Turning parts
help-the-plate-may-start-at = The plate may start at any time. Keep fingers, hair, sleeves, straps and cables clear of it, and know where its plug is: Esc asks the controller to stop, the plug makes sure.
help-load = Load
help-do-not-exceed-what-the = Do not exceed what the table's maker says it holds, and centre the load. Glass and tall pieces can tip or slide: turn slowly, secure them, wear eye protection where they could break.
help-lights-and-flash = Lights and flash
help-studio-lamps-get-hot-enough = Studio lamps get hot enough to burn and to set fire to paper and cloth: leave room, never leave them alone. Flash can trouble people with photosensitive epilepsy: warn everyone in the room.
help-electricity = Electricity
help-use-supplies-with-the-rating = Use supplies with the rating the parts call for. Batteries: the charger made for them, never unattended. Work on mains wiring is for a licensed electrician.
help-rules = Rules
help-the-rules-of-the-place = The rules of the place you work in, and the makers' manuals, go before this note.

## list

list-many-products-in-one-go = Many products in one go: a CSV file with the columns sku, name, plan (a number of stops, or a plan file's name), notes and done. Each product gets a folder of its own beside the list.
list-offer-title = Products in { $name }
list-offer-sum = { $products }, { $done } of them done; { $stops } to shoot
list-offer-where = Each product gets a folder named by its SKU, in the folder 'sets' beside the list. The first that is not done is opened; Ctrl Enter shoots it, N goes to the next.
list-offer-use = Use this list
list-offer-close = Close
list-offer-another = Another file…
list-offer-again = Read it again
list-offer-wrong = { $lines }, so none of it is used. Mend the file, then read it again.
list-offer-busy = It can be used once the session is stopped.
list-open-a-list = Open a list…
list-or-drop-it-on-the = Or drop it on the window
list-of-done = { $name }: { $done } of { $rows } done
list-no-other-product-is-left = No other product is left
list-close-it = Close the list
list-close-it-tip = No list is in use then; its file and the sets stay as they are
list-next-product = Next product: { $sku }
list-with-note = { $words }; note: { $note }
list-product = Product { $sku }, { $name }, { $row }

product-bar-which = { $sku }, product { $at } of { $all }
product-bar-note = Note: { $note }
product-bar-next = Next product: { $sku } (N)

## recent sets

recent-sets = Recent sets
recent-complete = { $stops }, complete
recent-of = { $kept } of { $stops }
recent-open = Open { $sku }, { $how_far }

## message

message-set-the-camera-for-row = Set the camera for row '{ $name }'
message-the-plan-holds-no-note = The plan holds no note on its height and tilt.
message-the-camera-is-set-go = The camera is set, go on
message-the-table-needs-you = The table needs you
message-the-tables-position-is-unknown = The table's position is unknown
message-the-camera-gave-no-good = The camera gave no good frame
message-the-disk-does-not-take = The disk does not take the frame
message-the-cameras-settings-have-changed = The camera's settings have changed
message-stop = , stop { $stop }
message-closing = , closing frame
message-try-again = Try again
message-0-is-here = 0° is here
message-takes-the-place-where-the = Takes the place where the plate stands now for 0°
message-go-on-with-the-new = Go on with the new setting
message-skip-this-stop-for-now = Skip this stop for now
message-stop-the-session = Stop the session
message-stop-is-flagged = The frame of stop { $stop } is doubtful
message-closing-is-flagged = The closing frame is doubtful
message-it-is-seen-to-shoot = It is seen to, shoot it again
message-keep-it-and-go-on = Keep it and go on
message-dismiss = Dismiss
message-more = { $n } more
message-all-said = What was said
message-dismiss-all = Dismiss all

## picture

picture-the-newest-frame-appears-here = The newest frame appears here.
picture-the-newest-frame-appears-here-2 = The newest frame appears here once the plan can be shot.
picture-no-frame-of-stop-yet = No frame of stop { $index } yet.
picture-no-closing-frame-yet = No closing frame yet.
picture-the-picture-cannot-be-shown = The picture cannot be shown: { $reason }.
picture-version-not-in-use = Version { $version }, not the one in use
picture-the-file-is-damaged = The file is damaged: { $damaged }
picture-test-frame-not-kept-s = Test frame, not kept; { $delay_secs } s from shutter to screen
picture-live-pictures-a-second-ms = Live: { $rate } pictures a second, { $late_ms } ms late
picture-no-difference-can-be-shown = No difference can be shown: { $reason }.
picture-picture-of-stop-large = Picture of stop { $index }, { $degrees_text }°, large
picture-closing-large = Picture of the closing frame, { $degrees_text }°, large

## picture-aids

picture-aids-clipped-light-dark = clipped: { $clipped_high_percent } % light, { $clipped_low_percent } % dark

## plan

plan-add-a-row = Add a row
plan-one-more-turn-shot-after = One more turn, shot after the others with the camera set anew
plan-closing-frame = Closing frame: the first stop once more
plan-closing-frame-tip = After each whole turn the first stop is shot once more, a full turn on: it shows whether the turn closes. It is no stop of the set and is not exported.
plan-plan = Plan
plan-save = Save…
plan-open = Open…
plan-redo = Redo
plan-undo = Undo
plan-it-can-be-changed-when = Can be changed once stopped.
plan-this-folder-holds-a-set = This folder holds a set of { $sku }:
plan-changed-from-the-set-in = Changed from the set in this folder:
plan-no-frame-stays = No frame stays
plan-1-frame-stays-with-its = 1 frame stays with its stop
plan-frames-stay-with-their-stops = { $several } frames stay with their stops
plan-of-an-earlier-plan-count = , { $several } of an earlier plan count again
plan-without = { $stay }{ $back }, { $missing } without a frame.
plan-no-longer-in-the-plan = { $orphaned } no longer in the plan; the files stay in the folder.
plan-the-frames-at-hand-were = The frames at hand were shot turning the other way: their angles would be mirrored. Choose another folder for this plan.
plan-use-changed-plan = Use changed plan
plan-undo-changes = Undo changes
plan-sku = SKU
plan-sku-tip = The product's number in your shop. Folder and files are named by it.
plan-title = Title
plan-title-tip = The product's name, shown to you only
plan-for-people-may-be-empty = optional
plan-the-plate-turns = The plate turns
plan-seen-from-above = Seen from above
plan-settle-after-a-turn-s = Settle after a turn, s
plan-settle-tip = How long the product is given to come to rest before each exposure, seconds
plan-exposure-s = Exposure, s
plan-exposure-tip = How long the camera exposes, seconds: the table stands still for at least that long
plan-rest-within-s = Or until still, at most s
plan-rest-within-tip = Instead of a fixed time: the camera's live picture is watched after each turn, and the exposure begins as soon as nothing moves in it, after so many seconds at most. Without a live picture the settle time is waited.
plan-rest-within-hint = off
plan-the-whole-set = The whole set: { $stops }
plan-the-ring-shows-the-last = The ring shows the last plan that can be shot.
plan-file-names = File names
plan-file-name-pattern = File-name pattern
plan-first-file-jpg = First file: { $name }.jpg
plan-first-file-to-come = First file: named once the plan can be shot
plan-fields-sku-row-stop-degrees = What is in braces is filled in: {"{"}sku{"}"} {"{"}row{"}"} {"{"}stop{"}"} {"{"}degrees{"}"} {"{"}date{"}"}

## plan-row

plan-row-camera-height-and-tilt = Camera height and tilt
plan-row-a-note-for-yourself-shown = such as 60 cm up, 35° down
plan-row-note-tip = A note for yourself, shown before the row is shot
plan-row-row = Row
plan-row-row-tip = One turn with the camera at one height is a row. Its name goes into the file names; 'level' is the usual row, with the camera at about the product's height.
plan-row-stops = Stops
plan-row-stops-tip = How many frames are shot on the way round, evenly spaced
plan-row-remove = Remove
plan-row-remove-row = Remove row { $at }
plan-row-from = From, °
plan-row-from-tip = Where the first stop lies, degrees from the front
plan-row-over = Over, °
plan-row-over-tip = How far round the row goes; 360 is a whole turn
plan-row-leave-out-stops = Leave out stops
plan-row-leave-out-tip = Stops that are never shot, by their numbers, such as 3, 7-9
plan-row-such-as-3-7-9 = none
plan-row-row-2 = { $caption }, row { $at }

## ring

ring-camera = camera
ring-seen-from-above = Seen from above
ring-turns = turns { $word }
ring-outside = outside { $row }
ring-inside = inside { $row }
ring-of-rows = of { $all_rows } rows
ring-kept = in the set
ring-complete = complete
ring-all-rows = All rows
ring-only-row = Row { $row }
ring-plate-tip = Where the plate's 0° stands now; the arc shows which way it turns
ring-caret-tip = The stop whose picture is shown
ring-rows-tip = Shows the rows as rings within each other, or one alone
ring-checking = checking the frames
ring-turning-to-stop = turning to stop { $stop }
ring-settling-at-stop = settling at stop { $stop }
ring-exposing-stop = exposing stop { $stop }
ring-receiving-stop = receiving stop { $stop }
ring-keeping-stop = keeping stop { $stop }
ring-stop = stop { $stop }
ring-closing = closing
ring-closing-doing = closing frame: { $state }
ring-version-of = , version { $chosen } of { $several }
ring-click-selects-ctrl-or-shift = Click selects; Ctrl or Shift selects more; R retakes

## on_flag

on-flag-when-a-frame-is-flagged = When a frame is doubtful
on-flag-retake-once-by-itself = Retake: once by itself. Counts from the next start of a session.

## room

room-dark = Dark
room-light = Light
room-both-are-neutral-grey-so = Both are neutral grey, so that nothing tints the eye beside a picture.
room-language = Language
room-english = English
room-language-from-next-start = Spoken from the next start on.
languages-refused = The window stays with English: { $path } cannot be used: { $reason }. Put the file back, or choose another language under Settings.
room-size-of-everything = Size of everything
room-sound-and-notification-when-the = Sound and notification when the set is done or you are needed

## strip

strip-picture-of-stop-version = Picture of stop { $index }, { $degrees_text }°, version { $version }, { $place }
strip-no-picture-of-stop = No picture of stop { $index }, { $degrees_text }°, { $place }
strip-unreadable = unreadable
strip-version = v{ $version }
strip-no-frame = no frame
strip-stop = Stop { $index }
strip-closing = Closing
strip-picture-of-closing = Picture, version { $version }: { $place }
strip-no-picture-of-closing = No picture: { $place }

## top-bar

top-bar-safety = Safety
top-bar-settings = Settings
top-bar-keys = Keys
top-bar-camera = Camera
top-bar-table = Table
top-bar-device = { $name }, { $word }
top-bar-list = List
top-bar-none = none
top-bar-shoot-list = Shoot list
top-bar-folder = Folder
top-bar-session-folder = Session folder
top-bar-no-sku-yet = No SKU yet

## tryout-ui

tryout-ui-at-it-esc-stops-it = At it… Esc stops it.
tryout-ui-connect-and-try-out = Connect and try out
tryout-ui-the-plate-stands-at-from = The plate stands at { $degrees }° from its zero, anticlockwise.
tryout-ui-no-zero-is-set-it = No zero is set; it has turned { $degrees }° since the controller started.
tryout-ui-it-does-not-tell-where = It does not tell where it stands.
tryout-ui-hands-hair-and-cables-off = Hands, hair and cables off the plate: it turns at once.
tryout-ui-turn-the-plate-by = Turn the plate by { $degrees }°
tryout-ui-anticlockwise-is-positive-seen-from = Anticlockwise is positive, seen from above
tryout-ui-set-0-here = Set 0° here
tryout-ui-fire-the-shutter = Fire the shutter
tryout-ui-this-table-has-no-line = This table has no line to the shutter.
tryout-ui-set-to = Set to { $settings }
tryout-ui-test-frame = Test frame
tryout-ui-shown-kept-nowhere = Shown, kept nowhere
tryout-ui-end-the-live-picture = End the live picture
tryout-ui-live-picture = Live picture
tryout-ui-hide-it = Hide it

## view-bar

view-bar-fit = Fit
view-bar-the-whole-frame-f = The whole frame. F
view-bar-one-picture-pixel-on-one = One picture pixel on one screen pixel; drag to move. Z, or double click
view-bar-one-picture-pixel-on-two = One picture pixel on two by two screen pixels; drag to move
view-bar-magnifier = Magnifier
view-bar-one-to-one-around-the = One to one around the pointer, over the whole frame. M
view-bar-checks-black-and-white-where = Marks in black and white where the picture is sharp to the pixel; in the magnifier and at 1:1
view-bar-sharp-edges = Focus peaking
view-bar-sharp-edges-opens = Opens the magnifier, with marks in black and white where the picture is sharp to the pixel
view-bar-view = View…
view-bar-tones = Histogram
view-bar-how-many-pixels-have-each = How many pixels have each tone, and what is clipped
view-bar-facts = Facts
view-bar-facts-card = Facts…
view-bar-facts-tip = What is known of the frame, and its versions side by side. I
view-bar-guides = Guides
view-bar-middle-lines-and-the-largest = Middle lines and the largest square
view-bar-compare = Compare with…
view-bar-compare-with = Compare with { $against }
compare-this-one = this one
compare-slider-tip = To the left this one is seen, to the right { $other }
view-bar-how-much-of-the-other = How much of the other picture is seen
view-bar-difference = Difference
view-bar-middle-grey-where-both-are = Middle grey where both are alike

## compare

compare-no-other-frame = No other stop of this row has a frame to compare with.
compare-is-the-first = This is the row's first stop itself.
compare-first-has-no-frame = The row's first stop has no frame.
compare-is-that-version = Version { $version } is the picture itself.
compare-no-such-version = This stop has no version { $version }.
compare-no-earlier-version = This stop has no earlier version.

## pictures

pictures-the-windows-worker-cannot-be = the window's worker cannot be started: { $error }; close some programs and try again
pictures-the-file-cannot-be-read = the file cannot be read: { $error }; look whether the session folder is still there

## places

places-kept = kept
places-kept-tip = A frame is kept and in use.
places-flagged = doubtful
places-flagged-tip = A frame is kept and in use, but a check found something on it.
places-missing = missing
places-missing-tip = No frame yet.
places-in-work = in work
places-in-work-tip = Being shot, or its frame is on its way to the disk.
places-problem = failed
places-problem-tip = The last try gave no good frame. An earlier one stays in use.
places-set-aside = set aside
places-skipped = skipped
places-kept-to-be-retaken = kept, to be retaken
places-stop-row = Stop { $index }, row { $row }, { $degrees_text }°, { $state }
places-stop = Stop { $index }, { $degrees_text }°, { $state }
places-closing-title = Closing frame{ $row }, { $degrees_text }°
places-closing = { $title }, { $state }

## products

products-done = done
products-not-begun = not begun, { $stops }
products-no-plan = its plan cannot be used
products-of = { $kept } of { $stops }
products-the-list-has-no-product = The list has no product { $sku } any more; open it again.

## stage

stage-nothing = nothing
stage-the-stop-before = the stop before
stage-the-first-stop = the first stop
stage-its-earlier-version = its earlier version
stage-page-set = Set and plan
stage-page-set-tip = Ring, start and stop, and the plan
stage-page-picture = Picture
stage-page-picture-tip = The frame of the stop pointed at, and what can be done with it
stage-page-facts = Facts
stage-page-facts-tip = What is known of the frame, and its versions
stage-version = version { $version }

## state

state-see-to-the-fields = { $n ->
    [one] The plan cannot be shot yet: see to the field { $fields }, which is marked.
   *[other] The plan cannot be shot yet: see to the marked fields { $fields }.
}
state-the-plan-cannot-be-shot = The plan cannot be shot yet: { $message }.
state-the-plan-differs-from-the = The plan differs from the set in this folder: use the changed plan, or undo the changes.

## tryout

tryout-this-camera-gives-no-live = This camera gives no live picture; take a test frame instead.
tryout-no-folder-for-a-test = no folder for a test frame: { $error }
tryout-the-camera-made-no-file = the camera made no file

## facts

facts-none = What is known of a frame stands here.
facts-frame-of-stop = Frame of stop { $stop }
facts-closing-frame = Closing frame
facts-closing-what = The first stop once more, a full turn on: it shows whether the turn closes. It is no stop of the set.
facts-closing-no-turn = It tells nothing as it is: the table did not stand a full turn on from the row's first frame. Retake it.
facts-planned = planned
facts-reported = reported
facts-measured = measured
facts-measured-angle = { $degrees }° ± { $uncertainty }°, { $off }° off
facts-cannot-tell = cannot tell: { $reason }
facts-not-measured = not yet: when the row is complete
facts-reported-exact = { $degrees }°, as planned
facts-reported-off = { $degrees }°, { $off }° off
facts-no-table = no table confirmed it
facts-exposure = exposure
facts-secs = { $secs } s
facts-iso = ISO { $iso }
facts-not-told = the file does not tell
facts-shot = shot
facts-file = file
facts-will-be = will be { $name }
facts-size = size
facts-pixels = { $width } × { $height } px
facts-picture-of = Picture of version { $version }
facts-picture-tip = Shows this version large
facts-version = Version { $version }
facts-version-in-use = Version { $version }, in use
facts-use-this-version = Use this
facts-compare = Compare
facts-compare-with = Compare with version { $version }
facts-compare-tip = Shows it over the picture in use; the bar above the picture mixes the two

## turn bar

turn-bar-name = Turn the object
turn-bar-at = Turn the object, { $at } of { $of } in this row
turn-bar-tip = Draw along the bar to turn the object through the frames at hand

## finishing

finishing-enter = Finish and export…
finishing-enter-tip = Even light, straight, cropped alike, on white; then the shop's listing.
finishing-enter-not-yet = Once a frame is kept and nothing is being shot.
finishing-back = Back to shooting
finishing-title = Finish { $sku }
finishing-missing = { $n ->
    [one] Without a frame: stop { $stops }
   *[other] Without a frame: stops { $stops }
}
finishing-divided-tip = As shot left of the line, finished right of it; drag the line. D
finishing-one-side-tip = B goes to and fro between finished and as shot
finishing-stop = Stop { $stop }, { $degrees }°
finishing-stop-in-row = Stop { $stop }, row { $row }, { $degrees }°
finishing-turn-tip = Turns the object; so do drawing across it and the arrows
finishing-turn = Turn the object
finishing-reading = Reading the set…
finishing-even = Even exposure over the set
finishing-neutral = Neutral background, slight casts taken out
finishing-straighten = Straighten to the turning axis
finishing-axis-not-used = Frames stay upright as they were shot
finishing-axis-to-come = Axis: being measured…
finishing-axis-unknown = The axis is not known
finishing-axis = Axis { $off } px beside the middle, leaning { $lean }°
finishing-crop = Crop all frames alike
finishing-margin = Margin
finishing-width-to-height = Width to height
finishing-own-ratio = own
finishing-ratio = Width over height
finishing-white = White background
finishing-keep-shadow = Keep the shadow
finishing-no-shadow = No shadow
finishing-plate = Empty table: { $file }
finishing-no-plate = Empty table: not shot
finishing-plate-of-row = Empty table, row { $row }: { $file }
finishing-no-plate-of-row = Empty table, row { $row }: not shot
finishing-choose = Choose…
finishing-plate-from-file = File…
finishing-shoot-plate = Shoot it now…
finishing-shoot-plate-not-yet = Table and camera are not connected, or have something to do. Connect them under Camera, once back at shooting.
finishing-plate-being-shot = Empty table: being shot…
finishing-plate-title = The empty table
finishing-plate-ask = Take the product off, and change nothing on camera and lights. One frame is shot; it is kept in the set's folder 'plate' and used for this set's white background.
finishing-plate-ask-of-row = Take the product off, and set the camera as it stood for row '{ $row }'; change nothing else on camera and lights. One frame is shot; it is kept in the set's folder 'plate' and used for this row's white background.
finishing-plate-go = It is empty: shoot
finishing-plate-shot = The empty table is kept as { $file }.
finishing-plate-not-used = { $said } Choose it under Finish and export to use it.
finishing-choose-plate-tip = A frame of the empty table that was shot before
finishing-plate-tip = One frame of the table without the object: background and shadow come out cleanest with it. After the set, change nothing on camera and lights, take the product off, and shoot it here. Each row of a set has its own, for the camera stood at another height: it is shot for the row that is looked at here.
finishing-choose-plate = Choose the empty table's frame…
finishing-none = None
finishing-sharpen = Sharpen for the output
finishing-sharpening = Sharpening
finishing-per-cent = { $name }, per cent
finishing-creator = Photographer, named in the pictures
finishing-rights = Copyright, written into the pictures
finishing-none-yet = none
finishing-progress = How far the work is
finishing-cancel = Cancel
finishing-cancel-tip = Esc. What is made so far is used when it is begun again.
finishing-finish-what = Finish: full-size pictures, beside the set.
finishing-export-what = Export: for a shop. Needs no finishing first.
finishing-show-made = Show the folder
finishing-finish = Finish the set
finishing-finish-under-way = Finishing the set…
finishing-one-at-a-time = Under way; Cancel beside the progress ends it.
finishing-finish-tip = Every kept frame, at the camera's own size, into the set's folder 'finished'.
finishing-listing = Listing
finishing-profile = Listing profile
finishing-profile-file = From a file…
finishing-enlarged = The profile asks for pictures { $asked } px wide; the crop has { $crop } px: it will be enlarged { $times } times.
finishing-not-enlarged = The crop has { $crop } px in width for the { $asked } px asked for.
finishing-listing-folder = Listing folder
finishing-folder-hint = a folder of its own
finishing-choose-folder = Choose the listing's folder…
finishing-export = Export a listing
finishing-export-under-way = Exporting a listing…
finishing-export-tip = Pictures as the profile asks, contact sheet, moving preview, web page, list of files, and one ZIP of it all.
finishing-folder-first = Name the listing's folder first.
finishing-working = working…
finishing-looking = Looking at the whole set once. { $pace }
finishing-making = Making the picture…
finishing-divider = Divider between as shot and finished
finishing-picture-both = Stop { $stop }, as shot and finished
finishing-picture-finished = Stop { $stop }, finished
finishing-picture-as-shot = Stop { $stop }, as shot
finishing-side-divided = Divided
finishing-side-finished = Finished
finishing-side-as-shot = As shot
finishing-measuring = Measuring: { $done } of { $of }
finishing-finishing = Finishing: { $done } of { $of }
finishing-time-left = { $what }, { $span } left
finishing-writing-rest = { $what }, writing the rest
finishing-profile-facts = { $width } × { $height } px, { $kind }, margin { $margin } %
finishing-profile-limited = { $width } × { $height } px, { $kind }, at most { $limit }, margin { $margin } %
finishing-other-set = { $set }: { $text }
finishing-outdated = The settings have been changed since: the files on disk were made with the earlier ones.
finishing-done = { $count } pictures finished in { $folder } ({ $made } made, { $kept } unchanged).
finishing-exported = { $count } pictures as '{ $profile }' in { $folder } ({ $made } made, { $kept } unchanged; the largest has { $largest }).
finishing-note = Note: { $note }.
finishing-gave-way = this program failed at the work; the frames are untouched: try again, or leave this part of the finishing out
finishing-not-started = the work cannot be started: { $error }; close some programs and try again
finishing-choose-plate-title = Choose the frame of the empty table
finishing-open-profile-title = Open a listing profile
finishing-choose-folder-title = Choose where the listing's folder is made

## readiness

readiness-away = not connected
readiness-changing = connecting
readiness-ready = ready
readiness-trying = being tried
readiness-trouble = needs you

## the controller's language

speech-spoken-to = Controller: { $way }
speech-own = Roundstop's own program
speech-given = as given at the start
speech-steps = Steps in one turn of the plate
speech-baud = Speed of the line, baud
speech-axis = Letter of its axis
speech-unit = Degrees for one unit
speech-no-steps = give the steps in one turn of the plate: such a controller does not tell it
speech-bad-steps = '{ $text }' are no steps; write a number such as 3200, or a fraction such as 1650688/405
speech-bad-axis = '{ $text }' is no axis; write one letter such as A
speech-bad-unit = '{ $text }' is no number of degrees; write it like 1 or 0.5
speech-bad-baud = '{ $text }' is no speed; write a number such as 115200

## probe

probe-ask = Ask what is on this port
probe-tip = Moves nothing and changes nothing; opening the port may restart the controller
probe-asking = Asking; this may take some seconds…
probe-speak = Use the settings for { $way }

## how long it takes

time-planned = As planned it takes { $span }.
time-left-planned = { $span } left, as planned.
time-left-measured = { $span } left, by this session's pace.

## set-up path

setup-enter = Set up your own table and camera…
setup-title = Your own table and camera
setup-board = 1. Controller board
setup-table = 2. Table and port
setup-camera = 3. Camera and test frame
setup-zero = 4. Where 0° is
setup-turn = 5. Which way it turns
setup-done = 6. Your first set
setup-step-done = { $step }, done
setup-step-open = { $step }, open
setup-step-left-out = { $step }, passed by
setup-board-text = A table of your own making needs a controller board with Roundstop's program on it. Go on with Next if your table has its controller.
setup-table-text = Plug the table in, look for its port and ask what is on it. Nothing moves yet.
setup-camera-text = Choose how frames come to the computer, connect, and take a test frame. Set focus, exposure and white balance by hand, so that all frames are alike.
setup-zero-text = Bring the front of the product towards the camera: turn the plate here, not by hand while its motor holds it. Then set 0°.
setup-turn-text = Turn by +15° and watch: seen from above the plate must go anticlockwise. If it goes the other way, set 'Reverse the motor' for the controller board (step 1) and save its files to the board again.
setup-done-text = Begin a set of your own with this table and camera: give its SKU and the number of stops, then press Start. This path stays under Settings.
setup-new-set = Begin a new set with them
setup-use = Use them for the set at hand
setup-left = Left as it was: { $table }, { $camera }. Nothing chosen on the set-up path is used.
setup-back = Back
setup-next = Next
setup-next-tip = This step may be passed by and done later
setup-leave = Close
setup-leave-tip = Table and camera stay as they were before; the path stays under Settings
