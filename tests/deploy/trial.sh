# What a machine is taken through once it has booted: the commands of deploy/README.md, each at the
# beginning of a line, with what is to be seen of them. It has no network; packages lie in /root/wheels.
export PIP_NO_INDEX=1 PIP_FIND_LINKS=/root/wheels
answers() {
    python3 -c "from urllib.request import urlopen; urlopen('http://127.0.0.1:8064/health')"
}
wait_for_pages() {
    until answers 2>/dev/null; do sleep 1; done
}
newest_backup() {
    find /var/backups/digseason -name '*.db' | sort | tail -n 1
}
add_revision() { # so that the checkout is that of a Digseason to come, which changes the store
    last=$(cd service/migrations/versions && ls [0-9]*.py | tail -n 1 | cut -c 1-4)
    cat >service/migrations/versions/9999_to_come.py <<END
from alembic import op
revision, down_revision = "9999", "$last"
def upgrade() -> None:
    op.execute("create table to_come (id integer primary key)")
END
}

systemctl enable --now digseason-web digseason-jobs digseason-backup.timer
wait_for_pages
journalctl -u digseason-web
cd /root/digseason/sample_logs
install -o digseason -m 0600 farm.toml /var/lib/digseason
install -o digseason -m 0600 SM-1_*.csv /var/lib/digseason
digseason setup farm.toml
digseason check || echo "check: $?"
digseason import --logger SM-1 SM-1_2024-25.csv SM-1_2025-26.csv
digseason region --as-of 2025-11-21 --share share.svg
digseason setup /root/digseason/sample_logs/farm.toml || echo "a home folder is hidden: $?"
systemctl start digseason-backup
readings=$(digseason readings --logger SM-1 | sha256sum)

echo "== an upgrade, and back"
cd /root/digseason
add_revision
older=$(readlink /opt/digseason/current)
sh deploy/install
[ "$(readlink /opt/digseason/current)" != "$older" ]
wait_for_pages
digseason check | grep "schema .*at 9999, up to date"
[ "$(digseason readings --logger SM-1 | sha256sum)" = "$readings" ]
digseason outbox --all > told.txt
systemctl stop digseason-web digseason-jobs
sh deploy/install --back
[ "$(readlink /opt/digseason/current)" = "$older" ]
digseason check 2>&1 | grep "the store is at schema 9999"
mkdir /var/lib/digseason/newer && mv /var/lib/digseason/digseason.db* /var/lib/digseason/newer
digseason restore "$(newest_backup)"
find /var/lib/digseason/inbox/*/done -type f ! -name "*.report.txt" -execdir mv -nt .. {} + || echo "nothing came by the inbox"
digseason fetch || echo "no network: $?"
digseason inbox
digseason round
digseason outbox
digseason outbox drop 12 13 --by "Tobin Stillmarrow" --why "told before" || echo "they are not so many: $?"
digseason outbox release
systemctl start digseason-web digseason-jobs
wait_for_pages
[ "$(digseason readings --logger SM-1 | sha256sum)" = "$readings" ]

echo "== PostgreSQL"
runuser -u postgres -- createuser digseason
runuser -u postgres -- createdb -O digseason digseason
digseason move-store postgresql:///digseason
systemctl stop digseason-web digseason-jobs
digseason move-store --catch-up postgresql:///digseason
mkdir /var/lib/digseason/sqlite && mv /var/lib/digseason/digseason.db* /var/lib/digseason/sqlite
echo DIGSEASON_DATABASE_URL=postgresql:///digseason >> /etc/digseason.env
systemctl start digseason-web digseason-jobs
wait_for_pages
[ "$(digseason readings --logger SM-1 | sha256sum)" = "$readings" ]
systemctl start digseason-backup

echo "== how it stands"
systemctl is-active digseason-web digseason-jobs digseason-backup.timer
head -c 4 /var/lib/digseason/share.svg
stat -c "%U %a %n" /etc/digseason.env /var/lib/digseason "$(newest_backup)"

echo "== the drill, on this machine as if it were another"
digseason windows >windows.txt
systemctl stop digseason-web digseason-jobs digseason-backup.timer
rm -r /var/lib/digseason/*
sed -i '/^DIGSEASON_DATABASE_URL=/d' /etc/digseason.env
cp "$(newest_backup)" digseason-2026-11-25T021500Z.db
install -o digseason -m 0600 digseason-2026-11-25T021500Z.db /var/lib/digseason
digseason restore digseason-2026-11-25T021500Z.db
digseason check || echo "check: $?"
digseason windows | diff windows.txt -
rm -r /var/lib/digseason/*
echo "== all that was restored is taken away"
