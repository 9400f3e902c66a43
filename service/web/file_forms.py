"""The forms of what is said in English of logger files and files of vigour, for the catalogues."""

from __future__ import annotations

N_ = str
"""Marks words for the catalogues."""

REJECTS = (
    N_("column '{column}' is blank; add \"\" to missing in {where} if that is meant"),
    N_("'{cell}' in column '{column}' is no temperature; correct it or export again"),
    N_(
        "'{cell}' in column '{column}' is no number with decimal mark \"{mark}\"; set decimal = "
        '"{other}" in {where}'
    ),
    N_(
        "'{cell}' in column '{column}' is no number; add it to missing in {where} if it stands "
        'for "no reading"'
    ),
    N_(
        "'{depth}' in column '{column}' is no depth of the layout; if it is one, add it to "
        "columns in {where} and import the file again"
    ),
    N_("{reason} ({count} rows of it, the first is this)"),
    N_("{reason} ({count} of this kind, from here to line {line})"),
    N_(
        "'{stamp}' is not a time written as \"{form}\"; correct the line, or time and time_format"
        " in {where}"
    ),
    N_(
        "'{stamp}' lies outside the years 1901 to 2199; set the logger's clock, or correct "
        "time_format in {where}"
    ),
    N_(
        "'{stamp}' happens twice in {zone}; set clock = \"{clock}\" in {where} if the logger "
        "keeps standard time all year"
    ),
    N_(
        "'{stamp}' never happens in {zone}; set clock = \"{clock}\" in {where} if the logger "
        "keeps standard time all year"
    ),
    N_("'{stamp}' states its own offset; set clock = \"stamp\" in {where}"),
    N_(
        "'{stamp}' states no offset; write it into the line, or where no stamp has one set "
        'clock to what the logger showed in {where}, such as "UTC-08:00"'
    ),
    N_(
        "{time} UTC stands out of order in time: the clock jumped here; set the logger's clock,"
        ' or where rows stand in no order set order = "any" in {where}'
    ),
    N_(
        "{time} UTC lies in the future: set the logger's clock, or correct what the layout says"
        " of it"
    ),
    N_(
        "{time} UTC lies more than ten years before it was pushed: set the logger's clock; "
        "where the time is right, import it as a file"
    ),
    N_(
        "stands below another header, line {line}: its columns may mean other things, or have "
        "another unit; give that part a file and a layout of its own"
    ),
    N_("holds only NULs, as after a loss of power; check the logger's battery"),
    N_(
        "the file ends within this line, so its last number may have lost digits; export again,"
        " or end the line if it is whole"
    ),
    N_("has a quote that is never closed; close it or export again"),
    N_("has no quotes to tell a decimal mark from the delimiter; quote its numbers"),
    N_(
        "has {count} cells where a row has {width}: one is lost or holds the delimiter; correct"
        " the line or export again"
    ),
    N_("comes too late: {kept}"),
    N_("this row and others up to {last} UTC: {kept}"),
    N_("readings before {day} are kept as daily means only"),
    N_("{temperature} °C is no temperature of soil"),
)
"""Why a row or a reading of a file did not count."""
REFUSED_FILES = (
    N_("the file is empty; export it again"),
    N_("column '{column}' tells loggers apart; say whose rows to read"),
    N_("no row of logger '{logger}' in column '{column}', which names {names}"),
    N_("the file ends before its header; correct skip in {where}"),
    N_(
        "no column {lacking} in line {line}, which comes nearest to a header and names {names};"
        " correct time, columns, skip, delimiter or encoding in {where}"
    ),
    N_(
        "column {names} stands more than once in the header, line {line}; give each its own "
        "name, in the file and in {where}"
    ),
    N_(
        "no column {number}, its rows have {width}; correct time, columns, skip or delimiter in"
        " {where}"
    ),
    N_("line {line} does not end within {most} characters; give a text file in {encoding}"),
    N_(
        "line {line} states °{unit} ('{cell}') where {where} has unit = \"{other}\"; correct unit"
        " there if the file is right, or else the file"
    ),
    N_("no sheet '{sheet}'; it has {names}; correct sheet in {where}"),
    N_("cannot be read as a spreadsheet ({error}); save it again, or as .csv"),
    N_(
        "more than {rows} rows, {cells} cells or {bytes} bytes; save as .csv what belongs to "
        "the logger"
    ),
    N_("an old spreadsheet; save it as .xlsx or as .csv"),
    N_("packed by {name}; unpack it, or pack it as .gz or .zip"),
    N_("{size} packed bytes, more than {most}; unpack it first"),
    N_("more than {most} entries; unpack it first"),
    N_("{count} files in it, {texts} of them named as text; unpack it, and give each on its own"),
    N_("more than {most} bytes when unpacked; split it"),
    N_("more than {most} lines; cut it into files of fewer"),
    N_(
        "expands more than {most}-fold, as no readings do; look into it, and unpack it first if"
        " it is one"
    ),
    N_("damaged, cut off or locked ({error}); copy it again, or unpack it first"),
    N_("it was written to while it was read; import it again"),
    N_("no delimiter makes rows of two cells or more of it"),
    N_("holds a packed file again; unpack it once"),
    N_("{error}; correct encoding in its layout"),
    N_("'{logger}' has no layout: its readings come in no files"),
    N_(
        "its content was import {number} of {time} UTC, which {person} withdrew: {why}; "
        "`digseason imports restore {again}` takes that back"
    ),
    N_("import {number} is withdrawn already, by {person} on {time}: {why}"),
    N_("import {number} is not withdrawn"),
    N_("'{logger}' is there already; write another name"),
)
"""Why a file could not be read at all."""
SIGNS = (
    N_(
        "half of the readings at {depth} cm lie above {temperature} °C, which soil hardly does:"
        " are they °{unit}? {remedy}"
    ),
    N_(
        "half of the readings at {depth} cm lie below {temperature} °C, which soil hardly does:"
        " are they °{unit}? {remedy}"
    ),
    N_("check unit in {where}"),
    N_("check what the sender gives"),
    N_("check the clock of the logger"),
    N_('check clock = "{clock}" in {where}'),
    N_(
        "the first stamp, {time} UTC, lies where a clock begins that has lost its power: look "
        "whether these readings are of then; if not, withdraw them, or declare "
        "clock_corrections and read them again"
    ),
    N_(
        "over {days} days the newest stamp went from {before} to {after} min behind its "
        "arrival: the clock runs slow; set it, and declare clock_corrections"
    ),
    N_(
        "over {days} days the newest stamp went from {before} to {after} min behind its "
        "arrival: the clock runs fast; set it, and declare clock_corrections"
    ),
    N_(
        "an hour is missing after {time} UTC, as if the clock had been set on by an hour: the "
        "temperatures on both sides run into each other without it, and the daily wave at "
        "{depth} cm comes {hours} h later from then on ({days} days and more): if someone set "
        "it, declare clock_corrections for the stamps that were wrong"
    ),
    N_(
        "an hour is there twice after {time} UTC, as if the clock had been set back by an hour:"
        " the temperatures on both sides run into each other without it, and the daily wave at "
        "{depth} cm comes {hours} h earlier from then on ({days} days and more): if someone set"
        " it, declare clock_corrections for the stamps that were wrong"
    ),
    N_(
        "the newest stamp, {time} UTC, lies {hours} h in the future: set the logger's clock, or"
        " correct what the layout says of it, and import again"
    ),
    N_(
        "soil is warmest at {hour} by the sun at {depth} cm, where {first} to {last} is "
        "possible ({days} of {clear} clear days; seen at {depths} cm): the stamps are {hours} h"
        " or more too early; {remedy}"
    ),
    N_(
        "soil is warmest at {hour} by the sun at {depth} cm, where {first} to {last} is "
        "possible ({days} of {clear} clear days; seen at {depths} cm): the stamps are {hours} h"
        " or more too late; {remedy}"
    ),
    N_(
        "{count} of {all} steps are no multiple of {interval} min, most are {usual} min: set "
        "interval_min to what the logger keeps"
    ),
    N_(
        "the stamps jump by {minutes} min beyond the interval at {time} UTC ({count} such in "
        "all): someone set the clock; if it was wrong before, declare clock_corrections for the"
        " stamps up to there"
    ),
    N_(
        "time steps back and {count} rows are out of order, the first in line {line}: someone "
        "set the clock; give what stands before and after it files of their own, and declare "
        "clock_corrections for the wrong ones"
    ),
    N_(
        "the stamps of {nights} say that the logger follows summer time, against clock = "
        '"{clock}": set clock = "{zone}" in {where}'
    ),
    N_(
        "the stamps of {nights} say that the logger keeps one time all year, against clock = "
        '"{clock}": set clock = "{fixed}", or what it shows, in {where}'
    ),
    N_("{logger} was retired on {day}: what it measured counts up to that day"),
    N_("{days} and {more} more"),
)
"""Signs of a wrong clock or unit, and what else was noted of an import."""
EVIDENCE = (
    N_("the file names several: {told}"),
    N_("header '{text}'"),
    N_("line '{text}' above the rows"),
    N_("header '{text}', if it means the stamps"),
    N_("line '{text}' above the rows, if it means the stamps"),
    N_("but {against}"),
    N_("line '{text}' speaks of it"),
    N_("the rows do not say it yet"),
    N_("{what}: it follows summer time, and its clock is the zone of its place"),
    N_("--site or --zone says where the logger stands"),
    N_("with --site the hour at which soil is warmest would count too"),
    N_("no depth is sure enough for the hour at which it is warmest to count"),
    N_("at {places} none of the usual clocks fits"),
    N_("at {places} only this fits"),
    N_('at {places} "{clocks}" fits'),
    N_('{first}" or "{rest}'),
    N_("not {clocks}: {why}"),
    N_("if someone set it in summer it is an hour more, which looks alike"),
    N_("no hour is missing or there twice on {nights}"),
    N_("an hour is missing or there twice on {nights}, as in {zone}"),
    N_(
        "soil at {depth} cm would be warmest at {hour} by the sun, where {first} to {last} is "
        "possible"
    ),
    N_(
        "the hour at which soil at {depth} cm is warmest leaves {low} to {high} ({days} clear days)"
    ),
    N_(
        "soil at {depth} cm is warmest at {hour} of the stamps ({days} clear days), by the sun "
        "at {first} to {last} in any soil: the clock runs {low} to {high} h ahead of the sun of"
        " its place"
    ),
    N_("{count} in the samples: {names}; their ids"),
    N_("the headers name both °C and °F"),
    N_("no header names one"),
    N_("half of the values exceed {middle}, which no soil does in °C: °F?"),
    N_("half of the values lie below {middle}, which soil has in °C, or in °F in winter"),
    N_("numbers stand in column {numbers}; write the depth of each in cm"),
    N_("depths and their unit stand in the headers"),
    N_("no header names a depth; write that of each column in cm"),
    N_("the headers name no unit of depth: cm taken, may be inches or metres"),
    N_("1, 2, 3 may be the numbers of the channels; write the depth of each in cm"),
    N_(
        "{count} texts in '{name}', which names no unit of depth: cm taken, may be inches or metres"
    ),
    N_("{count} texts in '{name}'"),
    N_("rows repeat their time, a row for each of its texts"),
    N_("the column of numbers beside it"),
    N_("no column holds stamps of a known form"),
    N_("such as '{stamp}'"),
    N_("one time only"),
    N_("{share} of the sampled steps"),
    N_("the stamps have no time of day, and a mean of a day is no reading"),
    N_("or {choice}: no day over 12, no steady steps, nothing in the file decides"),
    N_('uneven steps: {count}; by "{other}", which also fits: {others}'),
    N_("the only form that fits"),
    N_("'{stamp}' has a day over 12"),
    N_("no header says whether a stamp begins or ends its interval"),
    N_("each stamp states its own offset"),
    N_("{form} counts from 1970 in UTC"),
    N_("the first of {count} sheets that holds a table"),
    N_("{rows} sampled rows of {width} cells"),
    N_("no line above the rows names their columns: they are counted"),
    N_("lines above the rows"),
    N_("no fractions seen"),
    N_("{count} sampled cells"),
    N_("the header names '{name}' twice; give each column a name of its own"),
    N_(
        "rows have {width} cells where no line above names more than {count}: does a decimal "
        "comma stand between commas, unquoted?"
    ),
    N_(
        "rows have {width} cells where no line above names more than {count}: give the header a"
        " name for each column, or take it out"
    ),
    N_("none seen"),
    N_("{count} x blank cells"),
    N_("a byte order mark"),
    N_("every other byte is a NUL"),
    N_("plain ASCII"),
    N_("byte {byte} before C or F is its degree sign"),
    N_("not UTF-8 at byte {byte}; look whether its letters come out right"),
    N_("all of it is UTF-8"),
    N_("{count} x blank cells, {others}"),
    N_("{told} (-127 °C: a broken line of common digital sensors)"),
    N_("{count} cells with '{mark}', {others}"),
    N_("{count} cells with '{mark}'"),
)
"""What a file says of its own layout, and what it leaves open."""
OF_VIGOUR = (
    N_("which column is vigour? --measure NAME names it; there are: {names}"),
    N_("which band is vigour? --measure NAME names it; there are: {names}"),
    N_(
        "the header is '{header}'; it needs the columns row and vine, or x_m and y_m, in metres"
        " along the rows and across them from the first vine of row 1"
    ),
    N_("no line has a place and a value; the first: line {line}: {reason}"),
    N_("no line has a place and a value"),
    N_("fewer cells than the header has names"),
    N_("'{row}', '{vine}' stands in line {line} already; which counts?"),
    N_("'{text}' is no number of a {name}; write a whole one"),
    N_("'{text}' as {name} is not within {least} to {most}"),
    N_("'{text}' is no number for {name}"),
    N_("'{text}' is no day up to today on which it was measured"),
    N_("nothing was measured"),
    N_("one point is no block; write at least two"),
    N_(
        "rows {first} to {last} with vines {low} to {high} are more than {most} vines; look for"
        " a wrong number"
    ),
    N_("vigour is mostly zero or below; write a measure of which more is stronger"),
    N_("byte {byte} is not UTF-8; save it as CSV in UTF-8"),
    N_("it holds bytes of zero, so that it is no text; save it as CSV in UTF-8"),
    N_("line {line} cannot be read: {error}; look for a stray quote"),
    N_(
        "a GeoTIFF needs the way in which the rows of its block run; write row_azimuth_deg in "
        "[[block]] of the farm file, then run setup"
    ),
    N_(
        "a GeoTIFF is read by rasterio, which is not installed: {install} in the folder of "
        "Digseason; or write a table"
    ),
    N_("it cannot be read as a GeoTIFF; export it anew"),
    N_("it does not say where it lies; export it with its coordinate system"),
    N_("it has more than {most} pixels; clip it to the block"),
    N_("it is {length} m long; clip it to the block"),
    N_("it has no data"),
    N_(
        "most of it lies before the first row or vine; look at first_vine, row_azimuth_deg and "
        "rows_counted of the block, or clip it to the block"
    ),
    N_("it holds more than {most} vines; clip it to the block"),
)
"""What is wrong with a file of vigour."""

FAULTS = (
    N_(
        "{where}: '{text}' is no clock; write a fixed offset such as \"UTC-08:00\" or an IANA zone "
        'such as "America/Los_Angeles"'
    ),
    N_("{where}: must be pairs in braces; write {example}"),
    N_("{where}: must be a number; write {example}"),
    N_("{where}: must be a list in square brackets; write {example}"),
    N_("{where}: must be text in quotes; write {example}"),
    N_("{where}: must be more than {least}; write {example}"),
    N_("{where} is missing; write {example}"),
    N_("{where}: is not of the right form; write {example}"),
)
"""What is wrong with a layout as a person states it."""
