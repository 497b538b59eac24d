"""A build looked at in a browser while it is worked on: checked at each save and at each number changed on the page.

`desk` holds the words of the build as they are worked on and writes them when asked, `numbers` tells which numbers of a
piece can be changed, `working` checks in processes apart, `room` joins them into one state that the page shows, and
`serving` answers the page. Loads no engine: that is the workers'.
"""
