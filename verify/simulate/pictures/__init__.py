"""Pictures of sets as a photographer would recognise them, for trying how a card is found.

A picture is linear light: an array of shape (rows, columns, 3), upright, relative to a white
surface in the light that falls on the card, (1, 1, 1) being neutral for the camera's balance. The
truth is kept beside it and never enters the file.
"""
