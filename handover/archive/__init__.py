"""Where the office keeps every job: one bag a job, and a catalog that finds them.

    ARCHIVE/
      bags/JOB/               a bag by BagIt 1.0 (RFC 8493); opens without this program
        bagit.txt  bag-info.txt  manifest-*.txt  tagmanifest-*.txt
        entry.json            what the catalog knows of the job
        removed.json          what was removed for privacy, and when; only where something was
        data/issues/0001/...  the files of one issue; never written again once they stand
        data/...              whatever else was filed: photos, messages, acknowledgements
      catalog.sqlite          the catalog, unless it is kept in a PostgreSQL database; only an index
      .locks/  .working/      one lock a bag; a bag that is being written

This room takes names and bytes. It does not know what a care sheet is.

    entry     what the catalog knows of a job
    names     names of files that any system takes
    bag       the BagIt format: manifests, bag-info, reading
    writing   a new state of a bag, beside the old one
    place     the folders of an archive, its locks, its catalog
    filing    adding to a bag, reading it, tidying up after a run that was killed
    forget    removing personal data
    verify    whether every file is what it was
    reindex   the catalog, from the bags
    export    the catalog as CSV and JSON lines
    catalog/  the index: tables, migrations, search
"""
