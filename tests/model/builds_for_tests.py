"""A case, a row of fans, a radiator and two boxes, with comments and odd spacing, for tests of what edits a build."""

SMALL = """\
# Measured on Sunday.
title: small
case:
  interior: {depth: 400, width: 220, height: 420}   # inner room
  openings: {roof: {face: roof, size: 120, count: 2, gap: 15, slot: 10, centre: {rear: 200, tray: 110}}}
stacks:
  roof:
    flow: out
    layers:
      - {fan: fan-120x25, count: 2, cable_to: rear tray}
      - {radiator: radiator-240x30, name: top, ports_to: front}
parts:
  drive: {box: drive-2.5in-7,  on: case.floor-wall, at: {rear: 100, tray: 60}}
  crate: {box: custom, length: 80, width: 60, height: 100, on: case.floor-wall, at: {rear: 250, tray: 110}}  # tools
"""
