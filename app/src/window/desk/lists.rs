//! The desk's part that reads shoot lists and marks what is done in them.

use std::path::{Path, PathBuf};

use session_core::shoot_list::ShootList;

use super::{DeskNews, Worker};
use crate::window::products::{self, ListOffer, ProductList};
use crate::window::text::t;

impl Worker {
    pub(super) fn read_list(&mut self, path: PathBuf) {
        let found = match ShootList::read(&path) {
            Ok(list) => Ok(ProductList::of(self.list_read.insert(list))),
            Err(error) => Err(products::refusal_of(&error)),
        };
        self.mailbox.desk(DeskNews::ListRead(ListOffer { path, found }));
    }

    pub(super) fn use_list(&mut self) {
        if let Some(list) = self.list_read.take() {
            self.mailbox.desk(DeskNews::List(ProductList::of(&list)));
            self.list = Some(list);
        }
    }

    pub(super) fn go_on_with_list(&mut self, path: &Path) {
        match ShootList::read(path) {
            Ok(list) => {
                self.mailbox.desk(DeskNews::List(ProductList::of(&list)));
                self.list = Some(list);
            }
            // One that was put away since is no trouble.
            Err(_) if !path.exists() => {}
            Err(error) => self.mailbox.desk(DeskNews::Trouble(error.to_string())),
        }
    }

    pub(super) fn product(&self, sku: &str) {
        let Some(list) = &self.list else { return };
        self.mailbox.desk(match products::plan_of(list, sku) {
            Ok((plan, folder)) => DeskNews::Product(plan, folder),
            Err(reason) => DeskNews::Trouble(reason),
        });
    }

    pub(super) fn product_done(&mut self, sku: &str) {
        let Some(list) = &mut self.list else { return };
        if let Err(error) = list.mark_done(sku) {
            let text = t!("desk-is-complete-but-the-shoot", sku = sku, error = error.to_string());
            self.mailbox.desk(DeskNews::Trouble(text));
        }
        self.mailbox.desk(DeskNews::List(ProductList::of(list)));
    }
}
