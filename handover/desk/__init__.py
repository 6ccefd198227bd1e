"""The desk: pages in a browser. No logic of its own: parse, call a service, show.

server         the program that listens
app            all routes, and what stands before them
security       headers, the origin of a request, the size of its body
static_files   styles, scripts and fonts, by names with the hash of their content
pages          templates filled in
page_cache     owners' pages, as long as they are right
sessions       who is signed in
sign_in        set-up, invitations, signing in and out
office         the office's pages
owner          the owner's page, its calendars, ticks and acknowledgement
crew           the crew's pages; crew_services and crew_shapes are what they ask for and show
api            the HTTP API
"""
