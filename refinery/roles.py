"""The two database roles, and what a fresh database must grant them.

custody_owner owns the schema and its tables and runs migrations. custody_app is the application: it
logs in, owns nothing, and reads every table; what it may write is granted table by table after each
migration (custody/grants.py). Neither is a superuser.

The embedded server is prepared by this module by itself. For a server of your own, a superuser runs

    python -m refinery.roles | psql --dbname=postgres

and then gives both roles a password.
"""

OWNER = "custody_owner"
APP = "custody_app"
DATABASE = "custody"

ROLES_SQL = f"""
DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{OWNER}') THEN
        CREATE ROLE {OWNER} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE;
    END IF;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{APP}') THEN
        CREATE ROLE {APP} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE;
    END IF;
END $$;
"""

# Rights on the database itself are not copied by CREATE DATABASE … TEMPLATE, so they stand apart.
# Without TEMPORARY the application cannot shadow a ledger table by a temporary one.
DATABASE_SQL = """
ALTER DATABASE {database} OWNER TO custody_owner;
REVOKE ALL ON DATABASE {database} FROM PUBLIC;
GRANT CONNECT ON DATABASE {database} TO custody_app;
"""

SCHEMA_SQL = f"""
ALTER SCHEMA public OWNER TO {OWNER};
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO {APP};
ALTER DEFAULT PRIVILEGES FOR ROLE {OWNER} IN SCHEMA public GRANT SELECT ON TABLES TO {APP};
ALTER DEFAULT PRIVILEGES FOR ROLE {OWNER} IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO {APP};
"""


def script(database: str = DATABASE) -> str:
    """All of it as one psql script; running it twice changes nothing."""
    create = (
        f"SELECT 'CREATE DATABASE {database}' "
        f"WHERE NOT EXISTS (SELECT FROM pg_database WHERE datname = '{database}')\\gexec\n"
    )
    return "\n".join([ROLES_SQL, create, DATABASE_SQL.format(database=database), f"\\connect {database}", SCHEMA_SQL])


if __name__ == "__main__":
    print(script())
