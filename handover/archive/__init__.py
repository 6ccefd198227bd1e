"""The archive of the office: one bag for each job, and a catalog that finds them.

    ARCHIVE/
      bags/JOB/               a bag by BagIt 1.0 (RFC 8493); opens without this program
        bagit.txt  bag-info.txt  manifest-*.txt  tagmanifest-*.txt
        entry.json            what the catalog knows of the job
        removed.json          what was removed for privacy, and when; only where something was
        data/issues/0001/...  the files of one issue; never overwritten
        data/...              other archived files: photos, messages, acknowledgements
      catalog.sqlite          the catalog, unless it is kept in a PostgreSQL database; only an index
      .locks/  .working/      one lock for each bag; a bag that is being written

The archive takes names and bytes. It does not know what a care sheet is.

    entry       what the catalog knows of a job
    safe_names  file names that every system accepts
    atomic      files and folders written completely or not at all
    bag         the BagIt format: manifests, bag-info, reading
    bag_writer  a new state of a bag, beside the old one
    store       the folders of an archive, its locks, its catalog
    deposit     adding to a bag; recovery of a run that was killed
    forget      removal of personal data
    verify      whether every file is unchanged
    reindex     the catalog, rebuilt from the bags
    repair      what the bags say twice, written again
    access      who may read and write an archive
    export      the catalog as CSV and JSON lines
    catalog/    the index: tables, migrations, search
"""
